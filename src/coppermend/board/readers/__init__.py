"""Readers of board file formats: text in, records out."""
