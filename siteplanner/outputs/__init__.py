"""Outputs: what leaves the tool."""
