"""Deliberate changes to the board: strip list, remedies, refit list, kit."""
