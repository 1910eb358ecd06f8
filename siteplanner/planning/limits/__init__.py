"""What rules ground out: rasters, and the same limits at one spot."""
