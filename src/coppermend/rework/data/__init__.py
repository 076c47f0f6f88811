"""Figures of parts and prices, as TOML with a source for each."""
