"""The page for a phone at the cliff: one trip, one file, no network."""
