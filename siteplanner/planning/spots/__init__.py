"""Candidate spots, and everything physical about one of them."""
