"""The text of each printed sheet against plan.json: every figure that a reader acts on, for both samples.

Nothing here formats by the program's own functions. The rounding rule, stated once:
shares in whole per cent (below 1 and above 99 said so); distances below 995 m in whole metres and feet, above in
tenths of kilometres and miles; short distances in tenths of a metre with whole feet; drive times in whole minutes;
bearings in three whole figures; dish angles and ground angles in tenths of a degree; jack lifts in centimetres and
tenths of an inch; coordinates in six decimals, in minutes to four, and as grid reference in groups.
"""

from __future__ import annotations

import io
import json
import math
import re
from datetime import datetime, timedelta

import pytest
from pypdf import PdfReader

from siteplanner.outputs.sheets.briefing import briefing
from siteplanner.outputs.sheets.printing import PAGES, sheet_pdf
from siteplanner.outputs.write import json_text
from siteplanner.planning.telling.commander import point_words
from siteplanner.planning.telling.findings import said_of_record
from siteplanner.planning.telling.record import plan_record
from siteplanner.planning.telling.units import BOTH
from tests.outputs.cautions import ROWS
from tests.outputs.letters import least_letter_pt

INVISIBLE = dict.fromkeys(map(ord, "\u200b\u2060\u2068\u2069\u00a0 \n\t\u200e\u200f"))
FOOT_M, MILE_M, MPH = 0.3048, 1609.344, 0.44704
KINDS = ("commander", "driver", "crew")
SAMPLES = ("county_plan", "hills_plan")


def squeezed(text: str) -> str:
    return text.translate(INVISIBLE)


@pytest.fixture(scope="module", params=SAMPLES)
def told(request):
    """(record read back from JSON, squeezed text by sheet, text as it is by sheet) of one sample."""
    plan = request.getfixturevalue(request.param)
    record = json.loads(json_text(plan_record(plan)))
    raw = {}
    for kind in KINDS:
        pages = PdfReader(io.BytesIO(sheet_pdf(plan, kind))).pages
        assert len(pages) == PAGES[kind]
        assert least_letter_pt(pages) >= 7.45  # by torch in the rain, in thirty seconds: drawings and foot included
        raw[kind] = " ".join(page.extract_text() for page in pages)
    return record, {kind: squeezed(text) for kind, text in raw.items()}, raw


def percent(share, digits=0):
    step = 10.0**-digits
    value = 100 * share
    if 0 < value < step:
        return f"below {step:.{digits}f} %"
    return f"above {100 - step:.{digits}f} %" if 100 - step < value < 100 else f"{value:.{digits}f} %"


def distance(metres):
    if metres < 995:
        return f"{metres:.0f} m ({metres / FOOT_M:,.0f} ft)"
    return f"{metres / 1000:.1f} km ({metres / MILE_M:.1f} mi)"


def short_distance(metres):
    """A distance to keep: rounded up in either unit, so that no rounding makes room."""
    return f"{math.ceil(10 * metres - 1e-9) / 10:,.1f} m ({math.ceil(metres / FOOT_M - 1e-9):,.0f} ft)"


def bearing(degrees):
    return f"{round(degrees) % 360:03d}°"


def with_doubt(look, name):
    """`7.6° ± 0.1°`: what 9 in 10 keep, rounded up."""
    return f"{angle(look[f'{name}_deg'])} ± {math.ceil(16.45 * look[f'{name}_error_deg'] - 1e-9) / 10:.1f}°"


def angle(degrees):
    text = f"{degrees:.1f}"
    return ("0.0" if text == "-0.0" else text) + "°"


def speed(m_s):
    return f"{m_s / MPH:.0f} mph ({m_s:.0f} m/s)"


def clock(record, minutes):
    moment = datetime.fromisoformat(record["timeline"]["dispatch"]) + timedelta(minutes=minutes)
    return moment.strftime("%a %d %b %H:%M")


def place(spot):
    out = [f"{spot['latitude']:.6f}, {spot['longitude']:.6f}"]
    halves = []
    for value, words, digits in ((spot["latitude"], "NS", 2), (spot["longitude"], "EW", 3)):
        whole = math.floor(abs(value))
        halves.append(f"{whole:0{digits}d}° {60 * (abs(value) - whole):07.4f}′ {words[value < 0]}")
    reference = spot["grid_reference"].replace(" ", "")
    zone, rest = reference[:-10], reference[-10:]  # ten digits: one metre
    return [*out, ", ".join(halves), f"{zone}{rest[:5]} {rest[5:]}"]


def drive(spot):
    return f"{distance(spot['access']['drive_distance_m'])}, {spot['access']['drive_time_s'] / 60:.0f} min"


def worst_grade(spot):
    grade, off = spot["access"]["worst_grade_pct"], max(spot["access"]["worst_grade_error_pct"] or 0.0, 1.0)
    least, most = math.floor(abs(grade) - off + 1e-9), math.ceil(abs(grade) + off - 1e-9)  # rounded outward
    return f"{least} to {most} % {'climb' if grade > 0 else 'descent'}"


def wind(spot, record):
    limits = record["mission"]["wind"]
    out = [speed(limits["tracking_limit_m_s"]), speed(limits["stow_limit_m_s"])]
    worst = spot["wind"]["worst"]
    if worst is not None and worst["ground"] > 1.005:
        out.append(f"can speed up wind {worst['ground']:.2f} times (from {bearing(worst['from_deg'])} true)")
        out.append(f"reached with {speed(spot['wind']['open_tracking_limit_m_s'])} in the open")
    for span in spot["wind"]["spans"]:
        out.append(f"Above the {span['limit']} limit: {span['start'][:16].replace('T', ' ')}")
    return out


def hangs_on(spot, goal):
    """Whether one road alone leads there, and how much of it."""
    line = spot["access"]["lifeline"][goal]
    if line["ways"] != 1:
        return {None: "not known", 0: "none", 2: "two: no single road's loss cuts it"}[line["ways"]]
    metres = line["length_m"]
    far = f"{metres / 1000:.1f} km" if metres >= 500 else f"{metres:.0f} m"
    of = f" of the drive's {spot['access']['drive_distance_m'] / 1000:.1f} km" if goal == "staging" else ""
    bridges = f", {line['bridges']} bridge{'s' if line['bridges'] > 1 else ''} in it" if line["bridges"] else ""
    return f"one: {far}{of} without a way round{bridges}"


def in_both(spot):
    """What can hurt somebody, in the sheets' units: plan.json says it in metric ones, its facts in both."""
    told = [f for f in spot["findings"] if f["severity"] == "warning"]
    return [said_of_record(f["code"], f["facts"], f["message"], BOTH) for f in told]


def commander(record):
    spot = record["spots"][0]
    coverage, air, timeline = spot["coverage"], spot["on_air"], spot["timeline"]
    served = sum(p["probability"] >= 0.5 for p in coverage["must_serve"])
    out = [
        f"Commander sheet: spot {spot['name']}",
        f"Park at spot {spot['name']}.",
        f"{percent(coverage['share'])}weighted area served",
        f"{served} of {len(coverage['must_serve'])}named points with service",
        f"{spot['service']['kind']} (1 Mbit/s down, 256 kbit/s up), outdoors",
        f"{air['low_min']:.0f} to {air['high_min']:.0f} min{'' if timeline['dispatch'] else 'on air'} after dispatch",
        f"drive, {drive(spot).partition(', ')[0]}",
        f"Steepest{worst_grade(spot)}",
        # one way only is a warning, told among the dangers below, not in a second row
        *(
            f"{label}{hangs_on(spot, goal)}"
            for label, goal in (("Way in", "staging"), ("Way out", "outside"))
            if spot["access"]["lifeline"][goal]["ways"] != 1
        ),
        *(lost["sentence"].partition(" is lost: ")[2] for lost in spot["access"]["lifeline"]["if_lost"][:1]),
        f"{max(k['margin_deg'] for k in spot['sky']):.0f}° to spare",
        f"first {timeline['refuel_low_h']:.0f} to {timeline['refuel_likely_h']:.0f} h after first service",
        *place(spot),
        *wind(spot, record),
        *in_both(spot),
        *(f"{p['name']}{point_words(p['probability'])}" for p in coverage["must_serve"]),
    ]
    if timeline["dispatch"]:
        out.append(f"By the clock{clock(spot, timeline['early_min'])} to {clock(spot, timeline['late_min'])[-5:]}")
    return out


def driver(record):
    spot = record["spots"][0]
    part = spot["timeline"]["parts"][-3]  # the last leg ends on the spot
    rig = record["mission"]["rig"]
    return [
        f"spot {spot['name']}",
        drive(spot),
        f"Steepest grade{worst_grade(spot)}",
        f"{part['end_early_min']:.0f} to {part['end_late_min']:.0f} min after dispatch",
        f"{distance(spot['access']['last_leg_m'])} over ground",
        f"tongue at {bearing(spot['ground']['heading_deg'])} true",
        f"Height{rig['height_m']:g} m ({rig['height_m'] / FOOT_M:.1f} ft)",
        f"Mass{rig['mass_kg'] / 1000:.1f} t ({math.ceil(rig['mass_kg'] / 90.718474 - 1e-9) / 10:.1f} US tons)",
        *(
            f"{n}{step['running_m'] / 1000:.1f} ({step['running_m'] / MILE_M:.1f}){step['running_s'] / 60:.0f}"
            for n, step in enumerate(spot["access"]["directions"], 1)
        ),
        *(f"at {h['running_m'] / 1000:.1f} ({h['running_m'] / MILE_M:.1f}):" for h in spot["access"]["hazards"]),
        *(f"down, steepest {descent['steepest_pct']:.0f} %" for descent in spot["access"]["way_home"]["descents"]),
        *(words.replace(" not stated on ", " on ") for words in spot["access"]["unknown_limits"]),  # the label says it
        *place(spot),
    ]


def slope(ground):
    """With its doubt; of wide cells it says that it is their mean."""
    wide = ground["source_cell_m"]
    mean = f" as the mean of cells of {wide:.0f} m ({wide / FOOT_M:.0f} ft); not known at the trailer's size"
    doubt = f" ± {angle(ground['slope_uncertainty_deg'])}"
    return f"{angle(ground['slope_deg'])}{doubt}{mean if wide >= 30 else ''}"


def lift(ground, corner):
    """A lift below its own doubt is not told as a lift."""
    metres, doubt = ground["jack_differences_m"][corner], ground["lift_uncertainty_m"]
    told = max(metres, doubt)
    words = f"{told:.2f} m ({told / 0.0254:.1f} in)"
    if metres > doubt:
        return words
    return f"not known (± {words})" if ground["source_cell_m"] >= 30 else f"within ± {words}"


def jacks(ground):
    """Lifts where the elevation knows one of them at the trailer's size, else that it does not."""
    doubt = ground["lift_uncertainty_m"]
    if ground["source_cell_m"] < 30 and any(metres > doubt for metres in ground["jack_differences_m"].values()):
        corners = "front_left", "front_right", "rear_left", "rear_right"
        return [f"{c.replace('_', ' ').capitalize()}{lift(ground, c)}" for c in corners]
    return [f"cannot tell which corner is low (± {doubt:.2f} m ({doubt / 0.0254:.1f} in)): the level decides"]


def crew(record):
    spot = record["spots"][0]
    ground, coverage, timeline = spot["ground"], spot["coverage"], spot["timeline"]
    east = spot["sky"][0]["azimuth_deg"] - spot["sky"][0]["azimuth_magnetic_deg"]  # declination, east positive
    stations = sorted(coverage["must_serve"], key=lambda p: (p["probability"], p["name"]))[:6]
    power = record["mission"]["power"]
    out = [
        f"Set-up at spot {spot['name']}",
        f"Tongue points to{bearing(ground['heading_deg'])} true, {bearing(ground['heading_deg'] - east)} magnetic",
        f"Slope{angle(ground['slope_deg'])}; roll {angle(ground['roll_deg'])}, pitch {angle(ground['pitch_deg'])}",
        *jacks(ground),
        f"Mast stop{coverage['mast_height_m']:.0f} m",
        *(f"Sector {n}{bearing(b)}{bearing(b - east)}" for n, b in enumerate(coverage["sector_bearings_deg"], 1)),
        *(p["name"] for p in stations),
        *(f"dBm{bearing(p['bearing_deg'])}" for p in stations if p["probability"] >= 0.5),
        f"{timeline['fuel_low_h']:.0f} h at high burn, {timeline['fuel_likely_h']:.0f} h likely",
        f"{power['fuel_tank_l']:g} l ({power['fuel_tank_l'] / 3.785411784:.1f} gal) usable",
        f"Refuel {timeline['refuel_low_h']:.0f} to {timeline['refuel_likely_h']:.0f} h after first service",
        f"Relief {timeline['relief_h']:g} h after dispatch",
        *(
            said_of_record(f["code"], f["facts"], f["message"], BOTH)
            for f in (*record["findings"], *spot["findings"])
            # the driver's are on his sheet; what coarse cells hide is asked on arrival
            if f["severity"] in ("warning", "notice", "unknown")
            and not f["code"].startswith(("route_", "coarse_elevation"))
        ),
        *place(spot),
        *wind(spot, record),
    ]
    for look in spot["sky"]:
        names = "azimuth_deg", "azimuth_magnetic_deg", "elevation_deg", "skew_deg"
        known = with_doubt(look, "margin")
        out.append(look["satellite_name"] + "".join(angle(look[name]) for name in names) + known)
        if look["known_to_m"] is not None:
            out.append(f"clear if no ground beyond is higher than {math.ceil(look['ceiling_m'] - 1e-9):,} m")
    for row, who in zip(spot["radio_exposure"], ("Public", "Informed crew"), strict=True):
        assert row["keep_m"] == row["icnirp_main_beam_m"] > row["main_beam_m"]
        out.append(f"{who.lower().replace('informed ', '')} {short_distance(row['keep_m'])}")
    for part in timeline["parts"]:
        reach = f"{part['end_early_min']:.0f} to {part['end_late_min']:.0f} min"
        likely = clock(spot, part["end_mean_min"]) if timeline["dispatch"] else ""
        if likely and likely[:10] == clock(spot, 0)[:10]:
            likely = likely[-5:]  # the day stands with the dispatch, over the table
        out.append(f"{part['name']}{reach}{part['end_mean_min']:.0f} min{likely}")
    return out


EXPECTED = {"commander": commander, "driver": driver, "crew": crew}


@pytest.mark.parametrize("kind", KINDS)
def test_every_figure_of_plan_json_stands_on_its_sheet(told, kind):
    record, texts, _ = told
    expected = EXPECTED[kind](record)
    assert len(expected) >= 12
    missing = [words for words in expected if squeezed(words) not in texts[kind]]
    assert not missing


def shaken(value):
    """The same data with every figure moved by more than its rounding."""
    if isinstance(value, dict):
        return {k: v if k in ("mission", "format", "ways_out") else shaken(v) for k, v in value.items()}
    if isinstance(value, list):
        return [shaken(v) for v in value]
    return 1.137 * value + 0.51 if isinstance(value, float) else value


def test_other_figures_would_be_found_missing(told):
    """The test above can fail: with every figure moved, what held figures is no longer on the sheets."""
    record, texts, _ = told
    moved = {**shaken(record), "mission": record["mission"]}
    for kind in KINDS:
        as_told = EXPECTED[kind](record)
        changed = [b for b in EXPECTED[kind](moved) if b not in as_told]
        assert len(changed) >= 8
        found = [words for words in changed if squeezed(words) in texts[kind]]
        # a share that is above 99 % cannot be told from a larger one, nor a small one from another below 1 %
        assert len(found) <= 1, found


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_cut_on_the_samples_sheets(told, kind):
    """A road's whole name stands in the box of changes: `bridge of Sable Creek Road over Marrow River`."""
    _, _, raw = told
    assert "\u2026" not in raw[kind]


@pytest.mark.parametrize("kind", KINDS)
def test_no_figure_is_a_computer_s_word_for_unknown(told, kind):
    _, _, raw = told
    assert not re.findall(r"\b(?:nan|None|inf|null|NaT)\b|\de[-+]\d", raw[kind])


@pytest.mark.parametrize(("kind", "words"), ROWS)
def test_cautions_stand_on_the_samples_sheets(told, kind, words):
    _, texts, _ = told
    assert squeezed(words) in texts[kind]


@pytest.mark.parametrize("sample", SAMPLES)
def test_the_short_text_of_a_drive_loses_what_is_general_and_never_the_drive(request, sample):
    """Each step with what can hurt before the next is in the first message, and what a driver needs most in 160."""
    plan = request.getfixturevalue(sample)
    spot = json.loads(json_text(plan_record(plan)))["spots"][0]
    text = briefing(plan, "driver")
    head, *lines = text.splitlines()
    assert len(head) <= 160
    assert spot["grid_reference"][-5:] in head
    places = [
        text.index(f"\n{n}. {distance_km(s['running_m'])} ") for n, s in enumerate(spot["access"]["directions"], 1)
    ]
    assert places == sorted(places)
    graves = [h for h in spot["access"]["hazards"] if h["severity"] != "note"]
    assert sum(line.startswith(" - at ") for line in lines) == len(graves)
    assert text.index("\nTurn: ") > places[-1]


def distance_km(metres):
    return f"{metres / 1000:.1f} km ({metres / MILE_M:.1f} mi)"


@pytest.mark.parametrize("sample", SAMPLES)
def test_briefings_of_the_samples_fit_two_thousand_bytes(request, sample):
    plan = request.getfixturevalue(sample)
    spot = json.loads(json_text(plan_record(plan)))["spots"][0]
    for kind in KINDS:
        text = briefing(plan, kind)
        assert 600 < len(text.encode("utf-8")) <= 2000
        assert [part for part in place(spot) if squeezed(part) not in squeezed(text)] == []
        assert "WARNING: " in text or "DANGER: " in text  # what can hurt is in
    crew_text = briefing(plan, "crew")
    look = max(spot["sky"], key=lambda k: k["margin_deg"])
    assert f"{angle(look['azimuth_deg'])} true" in crew_text
    assert f"Mast stop: {spot['coverage']['mast_height_m']:.0f} m" in crew_text
    assert all(f"{bearing(b)} true" in crew_text for b in spot["coverage"]["sector_bearings_deg"])
    assert "Carbon monoxide" in crew_text
