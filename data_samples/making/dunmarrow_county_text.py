"""The words of the Dunmarrow County sample: mission file and README."""

MISSION = """\
# Dunmarrow County: an INVENTED flood and search. The county, its names, roads, people and heights do not
# exist; only the coordinates are real ones, so that bearings and satellites are realistic.
# Whatever is not set here keeps its documented default.

name = "Dunmarrow County flood and search (invented)"
note = "Exercise. The Marrow River floods the valley floor at Marrowford; a party is missing up Sable Creek."

[layers]
elevation = "elevation.tif"          # ground, meters, 10 m cells, UTM 12N
surface = "surface.tif"              # ground and trees: they block the sky and stand in the radio's way
incident_area = "incident_area.geojson"  # two polygons; `weight` is priority, `people` who is there
roads = "roads.geojson"              # OpenStreetMap keys
keep_out = "keep_out.geojson"
hazards = "hazards.geojson"
power_lines = "power_lines.geojson"
structures = "structures.geojson"    # houses, fences, tanks
water = "water.geojson"              # the river as a polygon, creeks as lines
soft_ground = "soft_ground.geojson"
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
down_mbit_s = 20      # what the contract gives; all handsets share it
up_mbit_s = 5
satellites = [
    {{ longitude_deg = -113.0 }},
    {{ longitude_deg = -121.0 }},
]
min_margin_deg = 2.0

[radio]
frequency_mhz = 763
tx_power_dbm = 33    # 2 W a port, two ports a sector: a small cell (medium range goes up to 38 dBm)
service = "data"     # 1 Mbit/s down and 256 kbit/s up must work, outdoors
sectors = 2
max_radius_m = 9000

[search]
radius_m = 2500

[times]
dispatch = 2026-06-03T04:40:00-06:00  # invented, like everything here: the sheets then tell daylight and clock times
"""

README = """\
# Dunmarrow County (invented)

**No such county exists.** Ground, river, roads, names, people and events are made up by `data_samples/making`.
Nothing here describes a real place, and none of it may be used to plan anything real. Only the coordinates are
borrowed (UTM zone 12N, about 44.6 N 113.0 W), so that bearings and satellites come out as they would there.

The scene: the Marrow River floods the valley floor at Marrowford, and a party is missing up Sable Creek. The
trailer waits at the county road yard, west of the gorge.

| file | what |
|---|---|
| `mission.toml` | the mission; start here |
| `elevation.tif` | ground, meters, 1600 x 1400 cells of 10 m, EPSG:32612, heights in eighths of a meter |
| `surface.tif` | ground and tree tops, same cells |
| `incident_area.geojson` | two polygons with `weight` (priority) and `people` |
| `must_serve.geojson` | five named points |
| `roads.geojson` | road lines with OpenStreetMap keys; roads join only where they share a point |
| `power_lines.geojson` | a 230 kV line, and a village feeder without a voltage |
| `keep_out.geojson`, `hazards.geojson` | school ground, ranch yard; flood, slide |
| `structures.geojson`, `water.geojson`, `soft_ground.geojson` | houses, fences, tanks; river and creeks; wet ground |
| `spots.geojson` | places that somebody will ask about |

## Things to find

Look before you read on: where would you park?

- **Mount Averil**, the highest ground, sees both valleys. Its road climbs at 30 % and more, twice what the rig may.
- **Sable Meadow** lies flat beside the paved road in the middle of the search ground. The Averil Wall stands
  south of it, higher than the satellites.
- **Line Knoll** looks over the village. The 230 kV line crosses its top.
- **South Bench** has the widest view of the valley floor. Both ways in are closed to the rig: a flume crosses the
  road at 2.8 m in the west, and Cable Bridge carries 3.5 t in the east.
- **Marrowford school field** is flat, open and next to the command post: but children are sheltered there.
- **Chapel Bench**, low on the spur between Sable Creek and the river (44.6425 N 113.0337 W), has a gravel road and
  nearly the widest view. Nobody has named it in `spots.geojson`.

Old Mill Lane is a shortcut under a 2.8 m trestle. Haul Road passes over the highway and does not join it. One
track in the south joins nothing. Mill Street and Chapel Street are one-way. Ford Lane fords the creek.

## How it was made

`python -m data_samples.making.dunmarrow_county [DIR]`, from the top of a clone, makes it anew in about a minute:
three designed valleys, a river-erosion model with a slope limit for everything between them, then roads as
least-cost paths with a grade limit, laid on the ground with cut and fill. It is seeded; the same library versions
give the same files.
"""
