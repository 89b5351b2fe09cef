"""The public data set as a Data Package v2: written out, and read into an empty site."""
