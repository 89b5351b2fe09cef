"""What every call of the HTTP API shares: strict reading, paging by key, conditions, problems.

It stands in the catalogue because that is where packages may all import from.
"""
