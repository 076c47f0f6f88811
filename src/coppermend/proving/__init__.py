"""Proofs, what they exercise, and the gate."""
