"""The HTTP API as a contract: its description, made-up calls, its examples."""
