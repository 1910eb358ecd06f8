"""The words of the sample on real ground: mission file and README."""

MISSION = """\
# Real hills, INVENTED mission: the heights are real (cells of 3 seconds of arc, in degrees), everything laid on
# them is made up: roads, area, names, line. No road here exists.
# The layers come in other formats and coordinate systems on purpose.

name = "Real hills, invented search"
note = "Exercise. People are missing along the scarp; two valleys need service."

[layers]
elevation = "elevation.tif"            # WGS 84 degrees, cells of about 75 x 92 m
incident_area = "incident_area.gpkg"   # GeoPackage, EPSG:5070
roads = "roads.zip"                    # zipped Shapefile, EPSG:2274 (US survey feet), an agency's own columns
power_lines = "power_line.fgb"         # FlatGeobuf, EPSG:3857
must_serve = "must_serve.kml"          # KML
spots = "spots.gpx"                    # GPX waypoints
# Neither surface nor land_cover: what stands on these hills is not known. The radio takes the default for it, suburban
# ground (layers.default_clutter), the mast its highest stop, and the plan warns of it.

[layers.road_columns]
highway = "CLASS"
name = "RDNAME"
surface = "SURF"
tracktype = "TRACK"
maxheight = "MAXHT"

[staging]
name = "Depot"
latitude = {latitude}
longitude = {longitude}

[sky]
need = "any"
satellites = [
    {{ longitude_deg = -91.0 }},
    {{ longitude_deg = -103.0 }},
]

[radio]
tx_power_dbm = 36    # 4 W a port, two ports a sector: within the medium range of small cells (38 dBm)
service = "data"     # 1 Mbit/s down and 256 kbit/s up must work, outdoors

[search]
radius_m = 2500
spacing_m = 300
"""

README = """\
# Real hills (real heights, invented everything else)

The heights are real: matplotlib's sample file `jacksboro_fault_dem.npz`, of radar-survey origin (public domain),
3 seconds of arc, whole meters, written as a GeoTIFF in degrees without change of any height. `NOTICE.txt` has
matplotlib's license.

**Everything else is invented.** The roads are least-cost paths with a grade limit over these heights; no such
road exists. Incident area, depot, names, overhead line: made up. Do not plan anything real with it.

| file | format | coordinates |
|---|---|---|
| `elevation.tif` | GeoTIFF, int16, meters, nodata -32768 | EPSG:4326, cells of about 75 x 92 m |
| `incident_area.gpkg` | GeoPackage | EPSG:5070 |
| `roads.zip` | Shapefile, columns CLASS, RDNAME, SURF, TRACK, MAXHT | EPSG:2274, US survey feet |
| `power_line.fgb` | FlatGeobuf | EPSG:3857 |
| `must_serve.kml` | KML | WGS 84 |
| `spots.gpx` | GPX waypoints | WGS 84 |

Cells this coarse hide banks, ditches and small flats: a plan from them is a first look. No layer says what stands on
the hills: the radio counts them as suburban, as the mission's default says.

`python -m data_samples.making.real_hills [DIR]`, from the top of a clone, makes it anew (needs matplotlib).
"""
