"""Roads: the network a rig can drive, routes over it, and directions told from it."""
