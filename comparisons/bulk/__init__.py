"""Bulk downloads: whole tables as streams of CSV, NDJSON and Parquet.

A table says which columns it has and reads them as Arrow record batches (`tables`); a format
turns the batches into bytes (`formats`). Neither ever holds more than one piece of the whole.
"""
