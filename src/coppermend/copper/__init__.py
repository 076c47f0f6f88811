"""Proof that every at-risk connection survived: probe plan, readings, jumpers."""
