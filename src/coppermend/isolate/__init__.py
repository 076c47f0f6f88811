"""Ranked suspects from the circuit graph and the readings so far."""
