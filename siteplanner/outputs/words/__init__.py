"""Figures, names and colours as readers see them; text made harmless."""
