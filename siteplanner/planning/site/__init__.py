"""Facts of one place that need no search: times, wind, rain, sun, magnetic north, distances to keep."""
