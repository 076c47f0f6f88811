"""Meters and logic captures."""
