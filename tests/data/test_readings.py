"""Tables and tracks of readings: what is read, and fifty kinds that cannot be right."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from siteplanner.data.readings import read_readings
from siteplanner.errors import InputError

HEAD = "longitude,latitude,time,rsrp_dbm,cell"
GOOD = [f"-113.0{k},44.6{k},2026-06-03T0{k}:00:00-06:00,-9{k},101" for k in range(1, 9)]


def table(*rows, head=HEAD):
    return "\n".join([head, *rows]) + "\n"


def row(k=1, **changed):
    cells = dict(zip(HEAD.split(","), GOOD[k - 1].split(","), strict=True)) | changed
    return ",".join(cells.values())


def gpx(*points, head='<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'):
    return head + "".join(points) + "</trkseg></trk></gpx>"


def point(lon=-113.0, lat=44.6, time="2026-06-03T01:00:00Z", level=""):
    inner = f"<time>{time}</time>" if time else ""
    inner += f"<extensions><rsrp>{level}</rsrp></extensions>" if level else ""
    return f'<trkpt lon="{lon}" lat="{lat}">{inner}</trkpt>'


@pytest.fixture
def read(tmp_path):
    def reader(text, name="readings.csv", track=None, **how):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        if track is not None:
            how["track"] = tmp_path / "walk.gpx"
            how["track"].write_text(track)
        return read_readings(path, **how)

    return reader


def test_a_table_is_read(read):
    found = read(table(*GOOD))
    assert len(found) == 8
    assert found.level_dbm.tolist() == [-91 - k for k in range(8)]
    assert found.longitude[0] == -113.01
    assert found.latitude[0] == 44.61
    assert found.row[0] == 2
    assert found.time[0] == datetime(2026, 6, 3, 7, 0, tzinfo=UTC)
    assert set(found.taken) == {"outdoors"}
    assert set(found.cell) == {"101"}


def test_a_head_alone_is_no_reading_and_no_fault(read):
    assert len(read(table())) == 0


def test_other_columns_and_marks(read):
    found = read("Lat;Lng;RSRP (dBm);Served\n44.6;-113.0;-98 dBm;\n44.61;-113.01;;no\n")
    assert found.level_dbm[0] == -98
    assert np.isnan(found.level_dbm[1])
    assert np.isnan(found.served[0])
    assert found.served[1] == 0


def test_bars_are_service_and_nothing_more(read):
    found = read("lon,lat,bars\n-113,44.6,0\n-113.01,44.6,3\n")
    assert found.served.tolist() == [0.0, 1.0]
    assert found.from_bars.all()
    assert np.isnan(found.level_dbm).all()


def test_grid_references_and_projected_places(read):
    by_grid = read("grid,rsrp_dbm\n12T UQ 38725 45215,-98\n")
    assert (by_grid.latitude[0], by_grid.longitude[0]) == pytest.approx((44.64219, -113.03362), abs=2e-5)
    by_meters = read("x,y,rsrp_dbm\n338725.5,4945215.5,-98\n", crs="EPSG:32612")
    assert (by_meters.latitude[0], by_meters.longitude[0]) == pytest.approx((44.64219, -113.03362), abs=2e-5)


def test_levels_in_a_gpx(read):
    found = read(gpx(point(level="-101"), point(time="2026-06-03T01:00:09Z")), name="walk.GPX")
    assert len(found) == 1
    assert found.level_dbm[0] == -101
    assert found.time[0] is not None


def test_a_table_takes_its_places_from_the_track(read):
    track = gpx(point(-113.0, 44.6, "2026-06-03T01:00:00Z"), point(-113.002, 44.602, "2026-06-03T01:01:00Z"))
    found = read("time,rsrp\n2026-06-03T01:00:30Z,-99\n2026-06-02T19:01:00-06:00,-101\n", track=track)
    assert found.longitude.tolist() == pytest.approx([-113.001, -113.002])
    assert found.latitude.tolist() == pytest.approx([44.601, 44.602])


def test_only_the_named_cells(read):
    mixed = table(*GOOD[:4], row(5, cell="7"), row(6, cell="102"))
    found = read(mixed, cells=("101", "102"))
    assert len(found) == 5
    assert found.left_out == 1


def test_phones_have_times_of_their_own(read):
    text = "lon,lat,time,rsrp,device\n" + "".join(
        f"-113.0,44.6,2026-06-03T0{hour}:00:00Z,-9{hour},{phone}\n" for hour, phone in ((5, "a"), (1, "b"), (6, "a"))
    )
    assert len(read(text)) == 3


STUCK = [row(k, rsrp_dbm="-97") for k in range(1, 9)]
TRACK = gpx(point(), point(time="2026-06-03T01:01:00Z"))
BAD = {
    "empty file": ("", "empty"),
    "only blank lines": ("\n\n", "empty"),
    "no place": ("time,rsrp\n2026-06-03T01:00:00Z,-98\n", "where"),
    "no longitude": ("lat,rsrp\n44.6,-98\n", "none for longitude"),
    "no latitude": ("lon,rsrp\n-113,-98\n", "none for latitude"),
    "no northing": ("x,rsrp\n338725,-98\n", "none for y"),
    "no level": ("lon,lat,speed\n-113,44.6,3\n", "no column with a level"),
    "rssi": ("lon,lat,rssi\n-113,44.6,-70\n", "RSSI"),
    "3G": ("lon,lat,rscp\n-113,44.6,-70\n", "3G"),
    "2G": ("lon,lat,rxlev\n-113,44.6,-70\n", "2G"),
    "5G": ("lon,lat,ss_rsrp\n-113,44.6,-70\n", "5G"),
    "asu": ("lon,lat,asu\n-113,44.6,44\n", "ASU"),
    "watts": ("lon,lat,rsrp_w\n-113,44.6,1e-13\n", "watts"),
    "microvolts": ("lon,lat,rsrp_dbuv\n-113,44.6,20\n", "voltage"),
    "quality": ("lon,lat,rsrq\n-113,44.6,-11\n", "quality"),
    "ratio": ("lon,lat,sinr\n-113,44.6,11\n", "ratio"),
    "which level": ("lon,lat,signal_dbm\n-113,44.6,-80\n", "may be RSRP or RSSI"),
    "two levels": ("lon,lat,rsrp,rsrp_dbm\n-113,44.6,-98,-98\n", "both say the same"),
    "two longitudes": ("lon,lng,lat,rsrp\n-113,-113,44.6,-98\n", "both say the same"),
    "positive": (table(row(rsrp_dbm="98"), row(2)), "not below 0 dBm"),
    "watts as dBm": (table(row(rsrp_dbm="1e-13"), row(2)), "not below 0 dBm"),
    "too strong": (table(row(rsrp_dbm="-30")), "highest RSRP"),
    "too weak": (table(row(rsrp_dbm="-174")), "lowest RSRP"),
    "codes": (table(*(row(k, rsrp_dbm=str(40 + k)) for k in range(1, 9))), "codes 0 to 97"),
    "not a number": (table(row(rsrp_dbm="weak")), "not a number"),
    "not finite": (table(row(rsrp_dbm="-inf")), "not a number"),
    "nan": (table(row(rsrp_dbm="nan")), "not a number"),
    "decimal comma": ("lon;lat;rsrp\n-113;44.6;-98,5\n", "not a number"),
    "neither level nor service": (table(row(rsrp_dbm="")), "neither a level nor service"),
    "latitude": (table(row(latitude="94")), "not a place"),
    "longitude": (table(row(longitude="-213")), "not a place"),
    "swapped": (table(row(longitude="44.6", latitude="-113.0")), "swapped"),
    "no fix": (table(row(longitude="0", latitude="0")), "0, 0"),
    "place left out": (table(row(longitude="", latitude="")), "no place"),
    "half a place": (table(row(longitude="")), "not a coordinate"),
    "degrees and minutes": (table(row(latitude="44°38'N")), "not a coordinate"),
    "no grid square": ("grid,rsrp\n12T UQ 3 4,-98\n", "grid reference"),
    "meters without a system": ("x,y,rsrp\n338725,4945215,-98\n", "Nothing says in which"),
    "time": (table(row(time="noon")), "not a time"),
    "epoch": (table(row(time="1780470000")), "not a time"),
    "no offset": (table(row(time="2026-06-03T07:00:00")), "no offset"),
    "backward": (table(GOOD[3], GOOD[1]), "earlier than row"),
    "jump": (table(row(1), row(2, time="2026-06-03T01:00:05-06:00", longitude="-114")), "km from row"),
    "stuck": (table(*STUCK), "repeated one value"),
    "two cells": (table(*GOOD, row(8, cell="7")), "2 cells are mixed"),
    "word for service": ("lon,lat,served\n-113,44.6,maybe\n", "neither yes nor no"),
    "nine bars": ("lon,lat,bars\n-113,44.6,9\n", "number of bars"),
    "half a bar": ("lon,lat,bars\n-113,44.6,2.5\n", "number of bars"),
    "level as bars": ("lon,lat,bars\n-113,44.6,-98\n", "number of bars"),
    "ragged": (table("-113,44.6,-98"), "3 cells, the head has 5"),
    "where taken": ("lon,lat,rsrp,taken\n-113,44.6,-98,boat\n", "place of a handset"),
    "frequency": ("lon,lat,rsrp,frequency_mhz\n-113,44.6,-98,B14\n", "not a number"),
    "bytes": (b"\xff\xfe\x00lon", "UTF-8"),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_cannot_be_right_is_refused_with_words(read, kind):
    text, words = BAD[kind]
    with pytest.raises(InputError) as told:
        read(text)
    assert words in str(told.value)
    assert told.value.file.endswith("readings.csv")
    assert told.value.remedy


def test_fifty_kinds_and_more():
    assert len(BAD) + len(BAD_FILES) >= 50


AT_NINE = "time,rsrp\n2026-06-03T09:00:00Z,-98\n"
BAD_FILES = {
    "missing": {"text": None, "words": "no such file"},
    "before on air": {"text": table(*GOOD), "earliest": datetime(2026, 6, 3, 9, tzinfo=UTC), "words": "was on air"},
    "cell that is none": {"text": table(*GOOD), "cells": ("9",), "words": "No reading is of cell"},
    "system that is none": {"text": "x,y,rsrp\n1,2,-98\n", "crs": "EPSG:0", "words": "no coordinate system"},
    "taken in a boat": {"text": table(*GOOD), "taken": "boat", "words": "place of a handset"},
    "gpx without levels": {"text": gpx(point()), "name": "a.gpx", "words": "no level and no service"},
    "gpx cut short": {"text": gpx(point(level="-98"))[:-20], "name": "a.gpx", "words": "broken or cut short"},
    "gpx that names files": {"text": "<!DOCTYPE gpx [<!ENTITY a 'b'>]>" + gpx(), "name": "a.gpx", "words": "DOCTYPE"},
    "gpx that is none": {"text": "<html></html>", "name": "a.gpx", "words": "is not read"},
    "not on the track": {"text": AT_NINE, "track": TRACK, "words": "no place within"},
    "no time for the track": {"text": "time,rsrp\n,-98\n", "track": TRACK, "words": "not a time"},
    "track without times": {"text": AT_NINE, "track": gpx(point(time="")), "words": "not a"},
    "track without points": {"text": AT_NINE, "track": gpx(), "words": "no point"},
    "track backward": {
        "text": "time,rsrp\n2026-06-03T01:00:00Z,-98\n", "track": gpx(point(), point(time="2026-06-02T01:00:00Z")),
        "words": "run backward",
    },
}  # fmt: skip


@pytest.mark.parametrize("kind", BAD_FILES)
def test_files_and_options_that_cannot_be_right(read, tmp_path, kind):
    how = dict(BAD_FILES[kind])
    words, text = how.pop("words"), how.pop("text")
    with pytest.raises(InputError) as told:
        read_readings(tmp_path / "none.csv") if text is None else read(text, **how)
    assert words.lower() in str(told.value).lower()
    assert told.value.remedy
