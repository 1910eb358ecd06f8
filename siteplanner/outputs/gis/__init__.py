"""Files for GIS, navigation devices and tables."""
