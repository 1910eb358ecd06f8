"""Which layers of a mission are not those that an atlas was built from, by what is in them; a head that is forged."""

from __future__ import annotations

import json
import os
import shutil

import pytest
import shapely

from siteplanner import load_mission
from siteplanner.errors import InputError
from siteplanner.mission.region import load_region
from siteplanner.planning.atlas import layers
from siteplanner.planning.atlas.folder import FORMAT, HEAD, TILE, finished
from siteplanner.planning.atlas.layers import files_of, others_than
from tests.atlas.scene import write_day, write_region


def test_a_layer_is_told_by_what_is_in_it_and_one_that_is_not_at_hand_is_not(tmp_path, monkeypatch):
    region = write_region(tmp_path / "region")
    head = {"files": json.loads(json.dumps(files_of(load_region(region).mission)))}
    assert set(head["files"]) >= {"elevation", "roads", "power_lines", "surface"}
    day = write_day(tmp_path / "day")
    for name in ("dem.tif", "roads.gpkg", "lines.gpkg"):
        shutil.copy(tmp_path / "region" / name, day.parent / name)
    assert others_than(head, load_mission(day)) == ()
    with (day.parent / "roads.gpkg").open("ab") as held:
        held.write(b" ")
    text = day.read_text()
    day.write_text(text.replace('power_lines = "lines.gpkg"\n', ""))
    assert others_than(head, load_mission(day)) == ("roads", "power_lines")
    day.write_text(text.replace('elevation = "dem.tif"', 'elevation = "dem.tif"\nsurface = "dem.tif"'))
    assert others_than(head, load_mission(day)) == ("surface", "roads")
    (day.parent / "roads.gpkg").unlink()
    assert others_than(head, load_mission(day)) == ("surface",)
    assert others_than({}, load_mission(day)) == ()  # an atlas of before: nothing is known
    monkeypatch.setattr(layers, "MOST_BYTES", 10)  # too large to be read for that: the size tells
    large = {"files": files_of(load_region(region).mission)}
    assert large["files"]["elevation"] == [[(day.parent / "dem.tif").stat().st_size, None]]
    assert others_than(large, load_mission(day)) == ("surface",)


def a_head() -> dict:
    return {
        "format": FORMAT, "mission": {}, "tiles": {"001_001": "key"}, "outline": shapely.box(0, 0, 1, 1).wkb_hex,
        "boxes": {"001_001": {"name": "001_001", "top": 0, "left": 0, "bottom": 1, "right": 1}},
    }  # fmt: skip


def test_a_head_that_says_what_no_atlas_says_is_refused(tmp_path):
    (tmp_path / "tiles" / "001_001").mkdir(parents=True)
    (tmp_path / "tiles" / "001_001" / TILE).write_text('{"key": "key"}')
    head, box = a_head(), a_head()["boxes"]["001_001"]
    (tmp_path / HEAD).write_text(json.dumps(head))
    assert finished(tmp_path)["tiles"] == head["tiles"]
    for forged in (
        {"tiles": {"../..": "key"}, "boxes": {"../..": {**box, "name": "../.."}}},
        {"tiles": ["001_001"]},
        {"boxes": {}},
        {"boxes": {"001_001": {**box, "top": "0"}}},
        {"boxes": {"001_001": {**box, "more": 1}}},
        {"boxes": {"001_001": {**box, "name": "/etc"}}},
        {"outline": "00"},
        {"outline": 7},
        {"outline": shapely.Point(0, 0).wkb_hex},
        {"mission": "m"},
    ):
        (tmp_path / HEAD).write_text(json.dumps({**head, **forged}))
        with pytest.raises(InputError, match="damaged"):
            finished(tmp_path)
    (tmp_path / HEAD).write_text(json.dumps(head))
    (tmp_path / "tiles" / "001_001" / TILE).write_text('["key"]')
    with pytest.raises(InputError, match="begun anew"):
        finished(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
def test_a_pipe_in_the_place_of_a_file_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / HEAD)
    with pytest.raises(InputError, match="cannot be read"):
        finished(tmp_path)
