"""Numeric core: arrays in, arrays out, no files. Everything else stands on this."""
