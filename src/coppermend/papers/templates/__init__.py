"""Typst templates of the papers."""
