"""Drawings across adapters: strips of a cohort, curves over each other."""
