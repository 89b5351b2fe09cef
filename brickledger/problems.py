"""Errors of the API as RFC 9457 problem details."""
