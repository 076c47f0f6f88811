"""The append-only job record, its state, its store and the files around it."""
