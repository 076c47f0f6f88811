"""Closed-form engineering figures behind the remedies; they know no board."""
