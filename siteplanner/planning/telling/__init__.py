"""Sentences and records made from facts."""
