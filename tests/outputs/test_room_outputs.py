"""Whether the rig can turn at a spot is one value: every output tells the same of it, whatever it is."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siteplanner.app.labels import Units
from siteplanner.app.spot_crew import park
from siteplanner.app.spot_drive import turns
from siteplanner.outputs.gis.gpx import routes_gpx
from siteplanner.outputs.map.panel import spot_popup
from siteplanner.outputs.sheets.briefing import radio_texts
from siteplanner.outputs.sheets.crew import crew_content
from siteplanner.outputs.sheets.driver import driver_content
from siteplanner.planning.spots.room import Room
from siteplanner.planning.telling.record import spot_record
from siteplanner.planning.telling.units import BOTH

NEED = 11.31
PHRASES = {
    "yes": "Room to turn at the spot",
    "no": "No room to turn at the spot",
    "unknown": "Not known whether the rig",
}


def with_room(plan, room):
    best = plan.best
    e = best.evaluation
    told = replace(e.access.told, turning=replace(e.access.told.turning, room=room))
    e = replace(e, ground=replace(e.ground, room=room), access=replace(e.access, told=told))
    return replace(plan, spots=(replace(best, evaluation=e), *plan.spots[1:]))


def rooms():
    limits = st.sampled_from(("", "steep", "water", "structures", "keep_out", "hazards", "soft_ground", "obstacle"))
    yes = st.builds(Room, st.just("yes"), st.floats(NEED, 2 * NEED), st.just(NEED), limits, st.booleans())
    no = st.builds(Room, st.just("no"), st.floats(0, NEED - 1e-6), st.just(NEED), limits, st.booleans())
    why = st.sampled_from(("unknown_ground", "coarse_cells"))
    unknown = st.builds(Room, st.just("unknown"), st.just(math.nan), st.just(NEED), why, st.booleans())
    return st.one_of(yes, no, unknown)


@settings(max_examples=30, deadline=None)
@given(room=rooms())
def test_every_output_tells_the_state_and_no_other(plan, room):
    made = with_room(plan, room)
    best = made.best
    e = best.evaluation
    texts = {
        "crew": dict(crew_content(made, best)["stand"])["Swing"],
        "driver": driver_content(made, best)["turning"],
        "radio": radio_texts(made)[0],
        "map": spot_popup(best, BOTH),
        "gpx": routes_gpx(replace(made, spots=(best,))) if e.access.told.turning.place else PHRASES[room.state],
        "app, stand": park(e, Units()),
        "app, drive": turns(e, Units()),
        "plan.json": spot_record(best)["access"]["turning"]["sentence"],
    }
    for where, text in texts.items():
        said = {state for state, phrase in PHRASES.items() if phrase in text}
        assert said == {room.state}, where
    record = spot_record(best)
    assert record["access"]["turning"]["at_spot"] is {"yes": True, "no": False, "unknown": None}[room.state]
    assert record["ground"]["room"]["state"] == room.state
    assert record["ground"]["swing_room_m"] == pytest.approx(room.free_radius_m, nan_ok=True)
