"""What the two samples' spots hang on, against removing each piece of road in turn, against a plan in which the road is
closed, and against the hazards' shapes."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.ops import substring

from siteplanner import explain, plan
from siteplanner.demo import sample_mission
from siteplanner.planning.plan.if_lost import if_lost
from siteplanner.planning.spots.evaluation import told_of
from siteplanner.roads.exits import OnRoad, exit_tree
from siteplanner.roads.lifeline import thread
from tests.roads.test_lifeline import compare

SAMPLES = ("county_plan", "hills_plan")


@pytest.mark.parametrize("sample", SAMPLES)
def test_lifelines_are_those_of_removing_each_piece_in_turn(sample, request):
    """By hand and by networkx' bridges, for every listed spot, from staging and to the outside apart."""
    made = request.getfixturevalue(sample)
    net = made.scene.roads
    spots = [r.evaluation.access for r in made.spots]
    places = [OnRoad(a.route.access.segment, a.route.access.along_m) for a in spots]
    start = OnRoad(int(spots[0].route.segments[0]), float(spots[0].route.start_m[0]))
    from_staging = exit_tree(net.geometry, net.judged.drivable, (start,))
    assert compare(net, (start,), places) + compare(net, net.exits, places) >= 1
    told = [(a.lifeline.staging, a.lifeline.outside) for a in spots]
    assert told == [(thread(from_staging, p), thread(net.exits_beyond, p)) for p in places]


def closed_plan(made, section, folder):
    """The same mission with a closure on all of a section but its ends, where other roads begin."""
    line = section.line
    inner = substring(line, 2.0, line.length - 2.0)
    gpd.GeoDataFrame({"name": ["lost"]}, geometry=[inner.buffer(0.5)], crs=made.scene.elevation.crs).to_file(
        folder / "lost.gpkg", driver="GPKG"
    )
    mission = made.mission
    closures = (*mission.layers.closures, str(folder / "lost.gpkg"))
    return plan(replace_layers(mission, closures), previous=made)


def replace_layers(mission, closures):
    return mission.model_copy(update={"layers": mission.layers.model_copy(update={"closures": closures})})


@pytest.mark.parametrize("which", [1, 7])
def test_what_remains_if_a_road_goes_is_what_a_plan_with_that_road_closed_tells(county_plan, which, tmp_path):
    best = county_plan.best
    lost = if_lost(county_plan.spots, best.evaluation.access, best.spot.name)[which]
    after = closed_plan(county_plan, lost.section, tmp_path)
    reached = []
    for ranked in county_plan.spots:
        access = explain(after, ranked.spot.latitude, ranked.spot.longitude).evaluation.access
        if ranked is best:
            assert (access is None) == ("staging" in lost.parts)
        elif access is not None:
            reached.append(ranked.spot.name)
    assert tuple(reached) == lost.spots
    assert len(lost.parts) > 0
    # the way out, on the roads of that plan, from where the rig would leave the road
    roads = after.scene.roads
    left = best.evaluation.access.route.access
    point = shapely.Point(left.x, left.y)
    segment = int(np.argmin(shapely.distance(roads.geometry.line, point)))
    out = thread(roads.exits_beyond, OnRoad(segment, float(roads.geometry.line[segment].project(point))))
    assert (out.ways > 0) == lost.outside


def test_hazards_beside_the_drive_are_as_far_and_as_high_as_their_shapes_say(county_plan):
    """Lengths from the drive's line and the area's 50 m around it, by overlay and not by samples."""
    elevation = county_plan.scene.elevation
    folder = sample_mission("dunmarrow_county").parent
    areas = gpd.read_file(folder / "hazards.geojson").to_crs(elevation.crs)
    waters = gpd.read_file(folder / "water.geojson").to_crs(elevation.crs)
    shapely.prepare(areas.geometry.array)
    wide = areas.buffer(50, quad_segs=64)
    told_any = bridges = 0
    for ranked in county_plan.spots:
        access = ranked.evaluation.access
        line, told = access.route.line, told_of(access)
        near = areas[areas.distance(line) <= 50]
        assert sorted(b.name for b in told.beside) == sorted(near["name"])
        for beside in told.beside:
            which = near.index[near["name"] == beside.name][0]
            area = areas.geometry[which]
            assert beside.across_m == pytest.approx(line.distance(area), abs=1e-6)
            assert beside.length_m == pytest.approx(line.intersection(wide[which]).length, abs=25)
            assert beside.up_m == pytest.approx(least_rise(access.route, area, elevation), abs=0.3, nan_ok=True)
            told_any += 1
        over = expected_bridges(county_plan.scene.roads, access.route, waters, areas)
        assert [(b.water, b.hazard) for b in told.over_water] == [(w, h) for w, h, _ in over]
        for bridge, (_, hazard, across) in zip(told.over_water, over, strict=True):
            assert hazard is None or bridge.across_m == pytest.approx(across, abs=1e-6)
            bridges += hazard is not None
    assert told_any >= 5
    assert bridges >= 5


def least_rise(route, area, elevation):
    """Every metre of the drive within 50 m and outside the area: the road over the ground at its nearest edge."""
    running = np.arange(0.0, route.distance_m, 2.0)
    points = shapely.line_interpolate_point(route.line, running)
    apart = shapely.distance(points, area)
    near = (apart > 0) & (apart <= 50)
    if not near.any():
        return float("nan")
    foot = shapely.get_point(shapely.shortest_line(points[near], area), 1)
    road = np.interp(running[near], route.profile_distance_m, route.profile_elevation_m)
    return float((road - elevation.sample(shapely.get_x(foot), shapely.get_y(foot))).min())


def expected_bridges(roads, route, waters, areas):
    """(water's name, hazard or None, metres to it) of each bridge over water, by the lines of the bridges alone."""
    out, last = [], None
    for segment in route.segments.tolist():
        if not any(h.kind == "bridge" for h in roads.hazards[segment]):
            last = None
            continue
        line = roads.geometry.line[segment]
        if last is not None:
            line = shapely.union(line, last)
            out = out[:-1] if out and out[-1][3] else out
        last = line
        wet = waters[waters.intersects(line)]
        if not len(wet):
            out.append(("", None, float("nan"), False))
            continue
        floods = areas[(areas.distance(line) <= 50) & areas.intersects(wet.union_all())]
        found = min(zip(floods.distance(line), floods["name"], strict=True), default=(float("nan"), None))
        names = ", ".join(dict.fromkeys(n for n in wet["name"] if isinstance(n, str) and n))
        out.append((names, found[1], found[0], True))
    return [o[:3] for o in out if o[3]]
