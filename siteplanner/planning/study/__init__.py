"""Layers loaded and vetted, in one metric CRS; what a rerun may take over."""
