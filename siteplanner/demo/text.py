"""The words of the Dunmarrow County sample: mission file and README."""

MISSION = """\
# Dunmarrow County: an INVENTED flood and search. The county, its names, roads, people and heights do not
# exist; only the coordinates are real ones, so that bearings and satellites are realistic.
# Whatever is not set here keeps its documented default.

name = "Dunmarrow County flood and search (invented)"
note = "Exercise. The Marrow River floods the valley floor at Marrowford; a party is missing up Sable Creek."

[layers]
elevation = "elevation.tif"          # ground, metres, 10 m cells, UTM 12N
surface = "surface.tif"              # ground and trees: they block sky and radio
incident_area = "incident_area.geojson"  # two polygons; `weight` counts people
roads = "roads.geojson"              # OpenStreetMap keys
keep_out = "keep_out.geojson"
hazards = "hazards.geojson"
power_lines = "power_lines.geojson"
must_serve = "must_serve.geojson"
spots = "spots.geojson"              # places that somebody will ask about

[staging]
name = "{staging}"
latitude = {latitude}
longitude = {longitude}

[rig]
mass_kg = 5000        # more than Cable Bridge carries
height_m = 3.2        # higher than two underpasses
max_grade_pct = 15    # the lookout road is steeper

[sky]
need = "any"
satellites = [
    {{ name = "slot 113 W", longitude_deg = -113.0 }},
    {{ name = "slot 121 W", longitude_deg = -121.0 }},
]
min_margin_deg = 2.0

[radio]
frequency_mhz = 763
sectors = 2
max_radius_m = 9000

[search]
radius_m = 2500
"""

README = """\
# Dunmarrow County (invented)

No such county exists. Its ground, rivers, roads, names, people and events are made up by
`siteplanner/demo`; nothing here describes a real place. Only the coordinates are borrowed (UTM zone 12N).

Regenerate with `python -m siteplanner.demo.build [DIR]`.
"""
