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

pytestmark = pytest.mark.alone
UNREAD = (
    "map.html", "print_map.pdf", "print_map.tif", "package.zip", "commander.pdf", "driver.pdf", "crew.pdf", "places.kml",
    "routes.gpx", "ruling.tif", "ruling_bits.tif", "set_service.tif", "set_server.tif", "service_*.tif",
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
    path = Path(write_mission(folder, times=f"dispatch = {DISPATCH}", radio="tx_power_dbm = -10"))
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
    text = text.replace("max_spots = 40", "max_spots = 8\nrefined_spots = 1\nlisted_spots = 4\nsets = 1")
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
    (folder / "REPORT.toml").write_text("".join(f"{key} = {json.dumps(value)}\n" for key, value in told.items()))
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
    return math.degrees(math.atan2(to_east, north * math.cos(tilt) + down * math.sin(tilt)))


def test_it_runs_through(story):
    # 1 of `ready`: neither unit may go, the one broken, of the other nothing is known but its name
    assert story.codes == {"plan": 0, "arrived": 0, "measured": 0, "again": 0, "log": 0, "handover": 0, "ready": 1}


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
    told = np.array([r["predicted_rsrp_dbm"] for r in m["readings"]])
    # the raster holds cells of the search's sweep, the readings are worked out path by path
    assert told == pytest.approx(story.predicted, abs=1.5)
    off = np.array([r["measured_less_predicted_db"] for r in m["readings"]])
    assert off.mean() == pytest.approx(story.off.mean(), abs=0.5)
    assert story.off.mean() == pytest.approx(OFF_DB, abs=0.05)
    prior = math.hypot(radio["model_sigma_db"], doubts["season_db"])
    assert m["shared_error"]["prior_db"] == pytest.approx(prior)
    mean, spread, counted = posterior(
        off, story.places, prior, radio["location_sigma_db"], doubts["readings_device_db"], doubts["readings_alike_m"]
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
    # one name a place, through all of them
    called = {(round(r["x"]), round(r["y"])): r["name"] for r in story.plan["judged"]}
    for later in (story.with_readings, story.changed):
        same = [r for r in later["judged"] if (round(r["x"]), round(r["y"])) in called]
        assert len(same) > 3
        assert all(called[round(r["x"]), round(r["y"])] == r["name"] for r in same)


def test_the_way_round_the_closed_road(story):
    ways = {}
    for name, folder in (("before", "measured"), ("after", "again")):
        graph = drive_graph(story.folder / "out" / folder / "package.gpkg")
        spots = {"before": story.with_readings, "after": story.changed}[name]["spots"]
        for spot in spots:
            leg_s = spot["access"]["last_leg_m"] / 1000 / 5 * 3600
            ways[name, spot["name"]] = spot["access"]["drive_time_s"], drive_s(graph, *at(200, 900), spot) + leg_s
    print(ways)


def drive_graph(package: Path):
    return gpd.read_file(package, layer="roads")


def drive_s(roads, x, y, spot):
    print(roads[["name", "length_m", "speed_kmh", "for_rig", "geometry"]].to_string())
    return 0.0
