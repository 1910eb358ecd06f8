"""Files in: the only rooms that open a layer."""
