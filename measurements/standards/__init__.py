"""Published limits and criteria as data, each with clause, source and standing."""
