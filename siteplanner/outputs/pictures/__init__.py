"""Rasters as pictures: relief, classes in colour, all in one projection of maps."""
