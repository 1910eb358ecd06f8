"""What is read beside a mission, spoilt: a plan to compare, fleet, take-down, report, readings, log, incident file.

And a folder of which a mission is to be made."""

from __future__ import annotations

import json
import random
import shutil
import tomllib
from pathlib import Path

from tests.hostile import spoil

FLEET = """name = "County"
[rules]
service_h = 250
[[units]]
name = "Trailer 1"
staging = "West"
powered_on = 2026-05-20
hours = 812.5
serviced_at_h = 700.0
fuel_l = 100.0
tank_l = 120.0
tires = ["2319", "2319"]
[units.weighed]
on = 2026-01-10
trailer_kg = 1500.0
rig_kg = 4200.0
tongue_kg = 180.0
[[units.faults]]
text = "jack leaks"
since = 2026-04-02
stops = false
[[units.inventory]]
name = "Chocks"
need = 4
have = 3
use_by = 2027-01-01
"""
TAKEDOWN = 'unit = "Trailer 1"\non = 2026-06-05\nhours = 850.0\nfuel_l = 40.0\nrepaired = ["jack leaks"]\n'
INCIDENT = """name = "Ridge"
number = "2026-17"
[[channels]]
zone = "1"
channel = "4"
function = "command"
name = "CMD 4"
"""
REPORT = """coordinates = "44.7000, -111.0000"
bearings = "magnetic"
heading_deg = 118
mast_stop_ft = 26
sector_bearings_deg = [35]
satellite = "slot 113 W"
arrived_at = "14:05"
on_air_at = "14:40"
fuel_pct = 80
different = "Moved to the gate"
[[levels]]
point = "camp"
rsrp_dbm = -98
"""
READINGS = "longitude,latitude,time,rsrp_dbm,cell\n" + "".join(
    f"-110.99{k},44.70{k},2026-06-03T0{k}:00:00-06:00,-9{k},101\n" for k in range(1, 9)
)
WALK = '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>' + "".join(
    f'<trkpt lon="-110.99{k}" lat="44.70{k}"><time>2026-06-03T0{k}:00:00Z</time><extensions><rsrp>-9{k}</rsrp>'
    "</extensions></trkpt>" for k in range(1, 9)
) + "</trkseg></trk></gpx>"  # fmt: skip
LOG = "".join(
    json.dumps({"at": f"2026-06-03T0{k}:00:00-06:00", "logged_at": f"2026-06-03T0{k}:05:00-06:00", "who": "Lee",
                "kind": kind, "text": f"Entry {k}", "fuel_pct": 50.0}) + "\n"
    for k, kind in enumerate(("seen", "decided", "done", "question"), 1)
)  # fmt: skip
WAYS = {"compare": 3, "ready": 3, "takedown": 1, "handover": 3, "log": 2, "measured": 3, "arrived": 2, "new": 2}


def paper(corpus: Path, folder: Path, rng: random.Random, address: str) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    """(what is spoilt, the command's words, names of which a refusal must say one)."""
    way = rng.choices(list(WAYS), list(WAYS.values()))[0]
    made, out = corpus / "out" / "plan.json", ("--out", str(folder / "out"))

    def spoilt(text: str) -> bytes:
        return spoil.spoilt(text.encode(), rng, address)

    def put(name: str, text: str, harmed: bool = True) -> str:
        (folder / name).write_bytes(spoilt(text) if harmed else text.encode())
        return str(folder / name)

    def table(name: str, text: str) -> str:
        """A TOML file with spoilt bytes, or, as often, as JSON with spoilt values: they come further."""
        if rng.random() < 0.3:
            return put(name, text)
        values = spoil.in_json(json.loads(json.dumps(tomllib.loads(text), default=str)), rng)
        return put(str(Path(name).with_suffix(".json")), spoil.as_text(values), False)

    if way == "compare":
        held = spoil.as_text(spoil.in_json(json.loads(made.read_text("utf-8")), rng))
        pair = [str(made), put("new.json", held, rng.random() < 0.3)]
        rng.shuffle(pair)
        return way, ("compare", *pair, "--json"), ("new.json", "plan.json")
    if way == "ready":
        fleet = table("FLEET.toml", FLEET)
        return way, ("ready", fleet, *out, "--json"), (Path(fleet).name,)
    if way == "takedown":
        closed, fleet = table("TAKEDOWN.toml", TAKEDOWN), put("FLEET.toml", FLEET, False)
        return way, ("ready", fleet, "--closed", closed, *out, "--json"), (Path(closed).name, "FLEET.toml")
    if way in ("handover", "log"):
        place = folder / "kept"
        place.mkdir()
        shutil.copyfile(made, place / "plan.json")
        harmed = rng.choice(("log.jsonl", "incident.toml", "plan.json")) if way == "handover" else "log.jsonl"
        for name, text in (("log.jsonl", LOG), ("incident.toml", INCIDENT)):
            (place / name).write_bytes(spoilt(text) if harmed == name else text.encode())
        if harmed == "plan.json":
            held = spoil.in_json(json.loads(made.read_text("utf-8")), rng)
            (place / "plan.json").write_text(spoil.as_text(held), "utf-8")
        more = out if way == "handover" else ()
        return (
            f"{way} {harmed}",
            (way, str(place), *more, "--json"),
            ("log.jsonl", "incident.toml", "plan.json", "kept"),
        )
    if way == "new":
        place = folder / "kept"
        shutil.copytree(corpus / "valley", place, ignore=shutil.ignore_patterns("*.json", "*_in.*", "ground*", "*.h5"))
        file = rng.choice(sorted(p for p in place.iterdir() if p.is_file() and p.suffix != ".toml"))
        (place / "mission.toml").unlink(missing_ok=True)
        file.write_bytes(spoil.spoilt(file.read_bytes(), rng, address))
        return f"{way} {file.name}", (way, str(place), "--json"), (file.name, "kept")
    plan_file = shutil.copyfile(made, folder / "plan.json")
    if way == "measured":
        file = put("readings.csv", READINGS) if rng.random() < 0.6 else put("walk.gpx", WALK)
        words = ("measured", str(plan_file), file, "--layers", str(corpus / "valley"), *out, "--json", "--quiet")
        return way, words, (Path(file).name, "plan.json")
    report = table("REPORT.toml", REPORT)
    words = ("arrived", str(plan_file), report, "--mission", str(corpus / "valley.json"), *out, "--json", "--quiet")
    return way, words, (Path(report).name, "plan.json", "valley.json")
