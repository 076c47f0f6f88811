"""Codes printed on parts, both ways, and preferred values. They know no board."""
