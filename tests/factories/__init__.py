"""Makers of test data; everything in them is invented."""
