"""Pages: the first page, an adapter, rankings, comparisons."""
