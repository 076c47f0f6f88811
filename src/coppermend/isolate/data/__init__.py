"""Failure-rate seeds as data."""
