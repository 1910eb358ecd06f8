"""Scores and order of the spots that pass."""
