"""Reading for rankings, placements and comparison tables."""
