"""Synthetic photographs of corroded boards with exact truth, for training and tests. No real photo is used or shown."""
