"""What happens after arrival, told from end to end by command line: 40 m off, ten readings 6 dB low, a road closed, the
second shift, the take-down, the fleet. Each figure is worked out again by code that is not the program's own."""

from __future__ import annotations

import json
import math
import tomllib
from datetime import datetime, timedelta
from importlib.resources import files
from pathlib import Path
from types import SimpleNamespace

import geopandas as gpd
import networkx as nx
import numpy as np
import pymap3d
import pytest
import rasterio
from pyproj import Geod, Transformer
from scipy.special import factorial, lpmv, ndtri
from scipy.stats import beta, norm
from shapely.geometry import LineString, Point, box

from siteplanner.cli import app, run
from siteplanner.outputs.write import WRITERS
from tests.planning.conftest import CRS, at, write_mission

UNREAD = (
    "map.html", "print_map.pdf", "print_map.tif", "package.zip", "commander.pdf", "driver.pdf", "crew.pdf",
    "places.kml", "routes.gpx", "ruling.tif", "ruling_bits.tif", "set_service.tif", "set_server.tif", "service_*.tif",
)  # fmt: skip
DISPATCH, ON_AIR = "2026-06-03T04:40:00-06:00", "2026-06-03T05:52:00-06:00"
GAUGE, SECOND_SHIFT = "2026-06-03T11:00:00-06:00", "2026-06-03T16:00:00-06:00"
OFF_DB, WGS84 = -6.0, Geod(ellps="WGS84")
FLEET = """name = "County"
[[units]]
name = "Trailer 1"
away = "Valley slide"
powered_on = 2026-05-20
hours = 412.0
serviced_at_h = 300.0
fuel_l = 60.0
tank_l = 60.0
tires = ["2321", "2321"]
[[units.faults]]
text = "left rear jack leaks"
since = 2026-04-02
[[units]]
name = "Trailer 2"
"""
TAKE_DOWN = """unit = "Trailer 1"
on = 2026-06-05
hours = 470.5
fuel_l = 18.0
repaired = ["left rear jack leaks"]
[[faults]]
text = "mast cable chafed"
since = 2026-06-05
stops = true
"""


def scene(folder: Path, closed: bool) -> Path:
    """The valley with a second way up to Bench Road and a weak radio; `closed`: Valley Road is, before Bench Road."""
    path = Path(write_mission(folder, spots=8, times=f"dispatch = {DISPATCH}", radio="tx_power_dbm = -10"))
    roads = gpd.read_file(folder / "roads.gpkg")
    more = gpd.GeoDataFrame(
        {"highway": ["unclassified"], "name": ["Back Lane"]},
        geometry=[LineString([at(700, 900), at(700, 1150), at(1500, 1150)])],
        crs=CRS,
    )
    gpd.pd.concat([roads, more], ignore_index=True).to_file(folder / "roads.gpkg")
    points = [Point(at(1800, 1500)), Point(at(2250, 1650))]
    gpd.GeoDataFrame({"name": ["camp", "landing"]}, geometry=points, crs=CRS).to_file(folder / "points.gpkg")
    text = path.read_text().replace("radius_m = 1500", "radius_m = 900")
    text = text.replace("max_spots = 8", "max_spots = 8\nrefined_spots = 1\nlisted_spots = 4\nsets = 1")
    if closed:
        gone = box(*at(1340, 890), *at(1360, 910))
        gpd.GeoDataFrame({"name": ["washed out"]}, geometry=[gone], crs=CRS).to_file(folder / "closed.gpkg")
        text = text.replace("hazards = ", 'closures = "closed.gpkg"\nhazards = ')
    path.write_text(text)
    return path


def call(*words: object) -> int:
    return run(lambda: app(args=[str(w) for w in words], standalone_mode=False))


def read(path: Path) -> dict:
    return json.loads(path.read_text("utf-8"))


@pytest.fixture(scope="module")
def story(tmp_path_factory):
    """Each command once; records as they were written."""
    folder = tmp_path_factory.mktemp("story")
    out, told = folder / "out", SimpleNamespace(folder=folder, codes={})

    def step(name: str, *words: object) -> None:
        told.codes[name] = call(name, *words)

    with pytest.MonkeyPatch.context() as patch:
        for name in UNREAD:  # sheets and maps of each plan have their own tests
            patch.setitem(WRITERS, name, lambda plan, path: None)
        step("plan", scene(folder / "valley", closed=False), "--out", out, "--quiet")
        told.plan = read(out / "plan.json")
        told.report = write_report(folder, told.plan["spots"][0])
        step("arrived", out / "plan.json", folder / "REPORT.toml", "--out", out / "built", "--quiet")
        told.built = read(out / "built" / "plan.json")
        told.places, told.predicted, told.off = write_readings(folder, out / "built" / "coverage.tif", told.built)
        step("measured", out / "built" / "plan.json", folder / "readings.csv", "--on-air", ON_AIR,
             "--out", out / "measured", "--quiet")  # fmt: skip
        told.measured, told.with_readings = read(out / "measured/measured.json"), read(out / "measured/plan.json")
        step("again", out / "measured" / "plan.json", scene(folder / "changed", closed=True),
             "--out", out / "again", "--quiet")  # fmt: skip
        told.again, told.changed = read(out / "again/again.json"), read(out / "again/plan.json")
        (out / "incident.toml").write_text('name = "Valley slide"\nperiod_to = 2026-06-03T18:00:00-06:00\n')
        step("log", out, "Gauge read", "--kind", "seen", "--fuel", "60", "--at", GAUGE, "--who", "J. Ruiz")
        step("handover", out, "--at", SECOND_SHIFT, "--out", folder / "handover")
        told.handover = read(folder / "handover" / "handover.json")
        (folder / "FLEET.toml").write_text(FLEET)
        (folder / "TAKEDOWN.toml").write_text(TAKE_DOWN)
        step("ready", folder / "FLEET.toml", "--closed", folder / "TAKEDOWN.toml", "--on", "2026-06-05",
             "--out", folder / "ready")  # fmt: skip
        told.ready = read(folder / "ready" / "ready.json")
    return told


def write_report(folder: Path, spot: dict) -> dict:
    """40 m off toward 240 true, turned by 10 degrees, both sectors by 5, read by compass."""
    longitude, latitude, _ = WGS84.fwd(spot["longitude"], spot["latitude"], 240.0, 40.0)
    turn = declination_deg(spot["latitude"], spot["longitude"], spot["elevation_m"], 2026.42)
    told = {
        "spot": spot["name"],
        "coordinates": f"{latitude:.6f}, {longitude:.6f}",
        "bearings": "magnetic",
        "heading_deg": round((spot["ground"]["heading_deg"] + 10 - turn) % 360, 1),
        "sector_bearings_deg": [round((b + 5 - turn) % 360, 1) for b in spot["coverage"]["sector_bearings_deg"]],
        "arrived_at": "05:10",
        "locked_at": "05:31",
        "on_air_at": "05:52",
        "fuel_pct": 90,
    }
    lines = [f"{key} = {json.dumps(value)}\n" for key, value in told.items()]
    (folder / "REPORT.toml").write_text("".join([*lines, '[[levels]]\npoint = "camp"\nrsrp_dbm = -117.0\n']))
    return told | {"latitude": round(latitude, 6), "longitude": round(longitude, 6)}


def write_readings(folder: Path, raster: Path, built: dict) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ten readings 6 dB below the raster on the mean, 120 m and more apart: (places, predicted RSRP, how far off)."""
    with rasterio.open(raster) as source:
        chance, place = source.read(1), source.transform
    rows, cols = (v.ravel() for v in np.mgrid[6:44:12, 6:96:18])
    rows, cols = rows[:10], cols[:10]
    x, y = rasterio.transform.xy(place, rows, cols)
    level = level_dbm(chance[rows, cols], built)
    off = np.array([-3.0, 2.0, -1.0, 4.0, -2.0, 1.0, 0.0, 3.0, -4.0, 0.0]) + OFF_DB
    longitude, latitude = Transformer.from_crs(CRS, 4326, always_xy=True).transform(x, y)
    lines = [f"{a:.7f},{b:.7f},{v:.1f}" for a, b, v in zip(longitude, latitude, level + off, strict=True)]
    (folder / "readings.csv").write_text("\n".join(["longitude,latitude,rsrp_dbm", *lines]) + "\n")
    return np.column_stack([x, y]), level, np.round(level + off, 1) - level


def level_dbm(chance: np.ndarray, built: dict) -> np.ndarray:
    """RSRP at which a chance of service stands: the least that serves plus what the two deviations make of it."""
    radio = built["mission"]["radio"]
    camp = built["as_built"]["points"][0]
    margin = built["spots"][0]["coverage"]["must_serve"][0]["margin_db"]
    least = camp["expected_dbm"] - margin
    spread = math.hypot(radio["location_sigma_db"], radio["model_sigma_db"])
    return least + spread * ndtri(chance.astype(float))


def declination_deg(latitude: float, longitude: float, height_m: float, year: float) -> float:
    """From the coefficients of the World Magnetic Model 2025: the field as the slope of its potential, taken in steps.

    Potential a sum (a / r)^(n + 1) (g cos m lon + h sin m lon) P, Schmidt's half-normalised (WMM 2025 report, section
    1.2, from memory).
    """
    rows = (files("pygeomag") / "wmm" / "WMM_2025.COF").read_text().splitlines()[1:]
    held = [[float(v) for v in r.split()] for r in rows if len(r.split()) == 6]
    x, y, z = pymap3d.geodetic2ecef(latitude, longitude, height_m)
    r, south, east = math.sqrt(x * x + y * y + z * z), math.acos(z / math.sqrt(x * x + y * y + z * z)), math.atan2(y, x)

    def potential(r: float, south: float, east: float) -> float:
        total = 0.0
        for n, m, g, h, dg, dh in held:
            half = 1 if m == 0 else math.sqrt(2 * factorial(n - m) / factorial(n + m)) * (-1) ** m
            turned = (g + (year - 2025) * dg) * math.cos(m * east) + (h + (year - 2025) * dh) * math.sin(m * east)
            total += 6371200.0 * (6371200.0 / r) ** (n + 1) * turned * half * lpmv(m, n, math.cos(south))
        return total

    step = 1e-5
    north = (potential(r, south + step, east) - potential(r, south - step, east)) / (2 * step * r)
    to_east = -(potential(r, south, east + step) - potential(r, south, east - step)) / (2 * step * r * math.sin(south))
    down = (potential(r + 10, south, east) - potential(r - 10, south, east)) / 20
    tilt = math.radians(90 - latitude) - south  # the ellipsoid's vertical against the line from the centre
    return math.degrees(math.atan2(to_east, north * math.cos(tilt) - down * math.sin(tilt)))


def test_it_runs_through(story):
    # `ready`: the other unit may go after a check, for nothing is known of it but its name
    assert story.codes == {"plan": 0, "arrived": 0, "measured": 0, "again": 0, "log": 0, "handover": 0, "ready": 0}


def test_it_stands_forty_metres_off_and_looks_where_the_satellite_is(story):
    planned, here, made = story.plan["spots"][0], story.built["spots"][0], story.built["as_built"]
    _, _, metres = WGS84.inv(planned["longitude"], planned["latitude"], here["longitude"], here["latitude"])
    assert made["distance_m"] == pytest.approx(metres, abs=0.01)
    assert metres == pytest.approx(40.0, abs=0.1)
    azimuth, elevation, _ = pymap3d.geodetic2aer(
        0.0, -111.0, 35_786_000.0, here["latitude"], here["longitude"], here["elevation_m"]
    )
    assert here["sky"][0]["azimuth_deg"] == pytest.approx(float(azimuth), abs=0.01)
    assert here["sky"][0]["elevation_deg"] == pytest.approx(float(elevation), abs=0.02)
    turn = declination_deg(here["latitude"], here["longitude"], here["elevation_m"], 2026.42)
    assert made["declination_deg"] == pytest.approx(turn, abs=0.05)
    assert here["sky"][0]["azimuth_magnetic_deg"] == pytest.approx((float(azimuth) - turn) % 360, abs=0.06)
    assert made["stands"]["heading_deg"] == pytest.approx((planned["ground"]["heading_deg"] + 10) % 360, abs=0.11)
    assert [s["off_deg"] for s in made["sectors"]] == pytest.approx([5.0, 5.0], abs=0.11)
    on_air, set_up = made["times"]
    assert (on_air["took_min"], set_up["took_min"]) == (72.0, 42.0)  # 04:40 and 05:10 to 05:52


def test_ten_readings_six_decibels_low(story):
    m, radio, doubts = story.measured, story.built["mission"]["radio"], story.built["mission"]["doubts"]
    assert [r["name"] for r in m["readings"]] == [""] * 10 + ["camp"]  # what the crew radioed back is a reading too
    told = np.array([r["predicted_rsrp_dbm"] for r in m["readings"]][:10])
    # the raster holds cells of the search's sweep, the readings are worked out path by path
    assert told == pytest.approx(story.predicted, abs=1.5)
    off = np.array([r["measured_less_predicted_db"] for r in m["readings"]])
    assert off[:10].mean() == pytest.approx(story.off.mean(), abs=0.5)
    assert off[10] == pytest.approx(-117.0 - story.built["as_built"]["points"][0]["expected_dbm"], abs=0.1)
    places = np.vstack([story.places, at(1800, 1500)])
    assert story.off.mean() == pytest.approx(OFF_DB, abs=0.05)
    prior = math.hypot(radio["model_sigma_db"], doubts["season_db"], doubts["handset_db"])
    assert m["shared_error"]["prior_db"] == pytest.approx(prior)
    mean, spread, counted = posterior(
        off, places, prior, radio["location_sigma_db"], doubts["readings_device_db"], doubts["readings_alike_m"]
    )
    assert m["shared_error"]["counted"] == pytest.approx(counted, rel=1e-3)
    assert m["shared_error"]["mean_db"] == pytest.approx(mean, abs=0.08)
    assert m["shared_error"]["spread_db"] == pytest.approx(spread, rel=0.03)
    # the plain normal formula, without wild readings and with the stated deviation
    noise = radio["location_sigma_db"] ** 2 / counted + doubts["readings_device_db"] ** 2
    plain = float(off.mean()) * prior**2 / (prior**2 + noise)
    assert m["shared_error"]["mean_db"] == pytest.approx(plain, abs=0.7)
    after = story.with_readings["mission"]["radio"]
    assert after["measured_offset_db"] == pytest.approx(m["shared_error"]["mean_db"], abs=0.006)
    assert m["share_now"]["share"] < m["share_before"]["share"]


def posterior(off, places, prior, place_db, device_db, alike_m) -> tuple[float, float, float]:
    """(mean, deviation) of the shared error and as how many the readings count: over a grid of the error, what the one
    phone is off and the deviation; 5 in 100 readings are anything between -140 and -44 dBm."""
    apart = np.hypot(*(places[:, None] - places).transpose(2, 0, 1))
    alike = np.exp(-apart / alike_m)
    worth = 1 / alike.sum(1)
    worth *= worth.sum() / (worth @ alike @ worth)
    error, phone = np.linspace(-30, 30, 241), np.linspace(-4, 4, 41)
    sigma = place_db * np.exp(0.25 * np.linspace(-4, 4, 41))
    both = (error[:, None] + device_db * phone).ravel()
    log = np.zeros((len(both), len(sigma)))
    for residual, count in zip(off, worth, strict=True):
        log += count * np.log(0.95 * norm.pdf(residual, both[:, None], sigma) + 0.05 / 96.0)
    log += norm.logpdf(np.log(sigma / place_db), 0, 0.25)
    like = np.exp(log - log.max()).sum(1).reshape(len(error), -1) @ norm.pdf(phone)
    like *= norm.pdf(error, 0, prior)
    like /= like.sum()
    mean = float(like @ error)
    return mean, math.sqrt(float(like @ (error - mean) ** 2)), float(worth.sum())


def test_where_it_stands_and_what_was_read_go_with_every_later_plan(story):
    stands, here = story.changed["stands"], story.built["spots"][0]
    assert (stands["latitude"], stands["longitude"]) == (here["latitude"], here["longitude"])
    assert stands["reported"] is True
    assert story.again["stay"]["latitude"] == here["latitude"]
    was, now = story.with_readings["mission"]["radio"], story.changed["mission"]["radio"]
    assert now["measured_offset_db"] == was["measured_offset_db"] != 0
    assert now["measured_files"] == was["measured_files"]
    # what the readings change is held against the plan that was followed, not against the one place AS BUILT
    ranks = {r["name"]: r["rank"] for r in story.plan["judged"]}
    held = [r for r in story.measured["ranks"] if r["name"] in ranks]
    assert len(held) > 3
    assert all(r["old_rank"] == ranks[r["name"]] for r in held)
    # one name a place, through all of them
    called = {(round(r["x"]), round(r["y"])): r["name"] for r in story.plan["judged"]}
    for later in (story.with_readings, story.changed):
        same = [r for r in later["judged"] if (round(r["x"]), round(r["y"])) in called]
        assert len(same) > 3
        assert all(called[round(r["x"]), round(r["y"])] == r["name"] for r in same)


def drive_s(package: Path, start: Point, end: Point) -> float:
    """Seconds on the roads that the rig may use, from road to road: length over speed of the written table, and at
    junctions 7.5 / (1 + exp(6.5 - 13 angle / 180)), the turn cost of the car profile of the Open Source Routing Machine
    (from memory). Shortest path by networkx over pieces of road in both directions."""
    roads = gpd.read_file(package, layer="roads")
    roads = roads[roads.for_rig]
    pieces = []
    for line, kmh in zip(roads.geometry, roads.speed_kmh, strict=True):
        cuts = {0.0, line.length}
        cuts |= {line.project(p) for p in (start, end) if line.distance(p) == roads.distance(p).min()}
        for a, b in zip(sorted(cuts), sorted(cuts)[1:], strict=False):
            coords = [line.interpolate(a), *(Point(c) for c in line.coords if a < line.project(Point(c)) < b)]
            part = LineString([*coords, line.interpolate(b)])
            pieces += [(part, part.length * 3.6 / kmh), (part.reverse(), part.length * 3.6 / kmh)]
    key = lambda c: (round(c[0]), round(c[1]))  # noqa: E731
    meet: dict = {}
    for part, _ in pieces:
        meet[key(part.coords[0])] = meet.get(key(part.coords[0]), 0) + 1
    graph = nx.DiGraph()
    nearest = {
        name: key(
            roads.geometry[roads.distance(p).idxmin()]
            .interpolate(roads.geometry[roads.distance(p).idxmin()].project(p))
            .coords[0]
        )
        for name, p in (("start", start), ("end", end))
    }
    for i, (one, seconds) in enumerate(pieces):
        if key(one.coords[0]) == nearest["start"]:
            graph.add_edge("start", i, weight=seconds)
        if key(one.coords[-1]) == nearest["end"]:
            graph.add_edge(i, "end", weight=0.0)
        for j, (other, more) in enumerate(pieces):
            at_one, at_other = key(one.coords[-1]), key(other.coords[0])
            if at_one == at_other and key(other.coords[-1]) != key(one.coords[0]):
                turn = 0.0
                if meet[at_one] > 2:
                    way = [np.subtract(c[-1], c[-2]) for c in (one.coords,)]
                    way += [np.subtract(other.coords[1], other.coords[0])]
                    bent = math.degrees(
                        math.acos(np.clip(way[0] @ way[1] / np.prod([np.hypot(*w) for w in way]), -1, 1))
                    )
                    turn = 7.5 / (1 + math.exp(6.5 - 13 * bent / 180))
                graph.add_edge(i, j, weight=more + turn)
    return nx.shortest_path_length(graph, "start", "end", weight="weight")


def place_of(row: dict) -> Point:
    return Point(Transformer.from_crs(4326, CRS, always_xy=True).transform(row["longitude"], row["latitude"]))


def test_the_way_round_the_closed_road(story):
    staging, took = Point(at(200, 900)), {}
    for name, made in (("measured", story.with_readings), ("again", story.changed)):
        package = story.folder / "out" / name / "package.gpkg"
        for spot in made["spots"]:
            on_road = drive_s(package, staging, place_of(spot))
            leg_s = spot["access"]["last_leg_m"] * 3.6 / made["mission"]["rig"]["last_leg_speed_kmh"]
            took[name, spot["name"]] = spot["access"]["drive_time_s"]
            assert spot["access"]["drive_time_s"] == pytest.approx(on_road + leg_s, abs=3.0)  # half a cell at each end
    assert took["again", "A"] > took["measured", "A"] + 20


def test_time_without_service_is_the_sum_of_its_parts(story):
    mission, here = story.changed["mission"], story.again["stay"]
    package = story.folder / "out" / "again" / "package.gpkg"
    roads, (quick, slow) = gpd.read_file(package, layer="roads"), mission["times"]["take_down_min"]
    assert story.again["moves"]
    for move in story.again["moves"]:
        spot = next(s for s in story.changed["spots"] if s["name"] == move["spot"])
        parts = {name: tuple(minutes) for name, *minutes in move["off_air"]["parts"]}
        assert parts["Take down, hitch up"] == (quick, (quick + slow) / 2, slow)
        legs_m = spot["access"]["last_leg_m"] + roads.distance(place_of(here)).min()  # over ground, at both ends
        legs_s = legs_m * 3.6 / mission["rig"]["last_leg_speed_kmh"]
        likely_s = 60 * (parts["Drive"][1] + parts["Last leg"][1])
        assert likely_s == pytest.approx(drive_s(package, place_of(here), place_of(spot)) + legs_s, abs=3.0)
        assert parts["Set up, level, raise the mast"] == tuple(mission["trailer"]["set_up_min"])
        assert parts["Acquire the satellite, start service"] == tuple(mission["trailer"]["acquisition_min"])
        points = np.array(list(parts.values()))
        mean = (points[:, 0] + 4 * points[:, 1] + points[:, 2]) / 6
        spread = np.sqrt((mean - points[:, 0]) * (points[:, 2] - mean) / 7)
        together = mission["times"]["parts_alike"]
        alike = np.full((5, 5), together) + (1 - together) * np.eye(5)
        low, high = points[:, 0].sum(), points[:, 2].sum()
        m, v = (mean.sum() - low) / (high - low), spread @ alike @ spread / (high - low) ** 2
        k = m * (1 - m) / v - 1
        ends = low + (high - low) * beta(m * k, (1 - m) * k).ppf([0.05, 0.95])
        told = move["off_air"]
        assert told["mean_min"] == pytest.approx(mean.sum())
        assert (told["early_min"], told["late_min"]) == pytest.approx(tuple(ends))
        assert move["gain"] == pytest.approx(move["share"] - here["turned_share"])


def test_stay_or_move_is_what_its_figures_say(story):
    again = story.again
    assert again["stay"]["broken"] == []
    assert again["stay"]["no_way"] is False
    best = again["moves"][0]
    assert best["gain_low"] < best["gain"] < best["gain_high"]
    worth = best["gain_low"] > 0 or bool(best["points_gained"])
    assert again["verdict"] == ("depends" if worth else "stay")
    assert again["stay"]["share"] == pytest.approx(
        story.measured["share_now"]["share"], abs=0.005
    )  # roads serve nobody


def test_the_second_shift_is_told_what_the_first_knew(story):
    told, power = story.handover, story.built["mission"]["power"]
    stands, here = told["stands"], story.built["spots"][0]
    assert (stands["latitude"], stands["longitude"]) == (here["latitude"], here["longitude"])
    assert told["on_air_since"] == ON_AIR
    assert told["incident"]["name"] == "Valley slide"
    assert told["share"][0] == pytest.approx(story.again["stay"]["share"])
    assert told["again"]["verdict"] == story.again["verdict"]
    assert any(line.strip().startswith("Planned again") for line in told["lines"])
    # fuel by hand: 60 % of the tank at 11:00, less the reserve, over the burn
    gauge, tank = datetime.fromisoformat(GAUGE), power["fuel_tank_l"]
    burn = sorted(power["fuel_burn_l_per_h"])
    for name, litres in (("refuel", (0.6 - power["refuel_at_share"]) * tank), ("empty", 0.6 * tank)):
        hours = [litres / burn[-1], litres / burn[0]]
        by = [(gauge + timedelta(hours=h)).timestamp() for h in hours]
        assert [datetime.fromisoformat(m).timestamp() for m in told["fuel"][name]] == pytest.approx(by, abs=1.0)
    relief = datetime.fromisoformat(DISPATCH) + timedelta(hours=story.built["mission"]["times"]["shift_h"])
    assert next(m for m in told["coming"] if m["what"] == "relief")["early"] == relief.isoformat()


def test_the_take_down_closes_the_call(story):
    fleet = tomllib.loads((story.folder / "ready" / "FLEET.toml").read_text("utf-8"))
    unit = fleet["units"][0]
    assert (unit["hours"], unit["fuel_l"], unit["powered_on"]) == (470.5, 18.0, "2026-06-05")
    assert "away" not in unit
    assert [f["text"] for f in unit["faults"]] == ["mast cable chafed"]
    row = story.ready["units"][0]
    duties = {d["what"]: d for d in row["duties"]}
    assert row["verdict"] == "cannot_go"  # the new fault stops it
    assert duties["fuel"]["value"] == pytest.approx(18 / 60)
    assert duties["service"]["value"] == pytest.approx(470.5 - 300)
    assert tomllib.loads((story.folder / "FLEET.toml").read_text("utf-8"))["units"][0]["hours"] == 412.0  # as it was
