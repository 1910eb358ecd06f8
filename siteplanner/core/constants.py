"""Constants of nature and of units that more than one room needs, each with its source.

A room that needs one takes it from here; `tests/test_constants.py` looks for copies.
"""

SPEED_OF_LIGHT_M_S = 299_792_458.0  # exact (SI)

WGS84_SEMI_MAJOR_AXIS_M = 6_378_137.0  # WGS 84, defining constant; also the sphere of EPSG:3857
WGS84_FLATTENING = 1 / 298.257223563  # WGS 84, defining constant
MEAN_EARTH_RADIUS_M = 6_371_000.0  # the radius that ITU-R P.452, P.526 and P.1812 multiply by k
MEDIAN_K_FACTOR = 4 / 3  # ITU-R P.310: standard atmosphere, refractivity gradient -39 N-units/km
GEOSTATIONARY_RADIUS_M = 42_164_170.0  # orbit radius: one sidereal day by Kepler's third law

# exact by definition: NIST SP 811, appendix B.8
FOOT_M = 0.3048  # international foot
US_SURVEY_FOOT_M = 1200 / 3937
MILE_M = 1609.344  # 5,280 international feet
NAUTICAL_MILE_M = 1852.0
POUND_KG = 0.45359237
MPH_M_S = 0.44704  # MILE_M / 3600
KNOT_M_S = NAUTICAL_MILE_M / 3600
