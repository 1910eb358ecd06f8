"""A few cases of spoilt input through the command line; `python -m tests.hostile --cases 5000` goes on for longer.

The seed is another at each run and stands in the report of a failure: with it and the number of the case,
`python -m tests.hostile --seed SEED --only NUMBER` shows it again.
"""

from __future__ import annotations

import os
import random
import secrets
import sys
import time

import pytest

from tests.hostile import spoil
from tests.hostile.cases import kind_of
from tests.hostile.corpus import build, goods, mission_data
from tests.hostile.listener import Listener
from tests.hostile.pool import run

COUNT = int(os.environ.get("SITEPLANNER_FUZZ_CASES", "16"))
FIELDS_S = 1.0  # of processor

pytestmark = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="limits of memory are set as Linux has them"
)


@pytest.fixture(scope="module")
def corpus(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile") / "corpus"
    build(folder)
    return folder


def test_every_format_is_spoilt(corpus):
    from siteplanner.data.formats import VECTOR_FORMATS

    endings = {good.path.suffix for good in goods(corpus)}
    assert {ending for listed in VECTOR_FORMATS.values() for ending in listed} - {".json"} <= endings
    assert {".tif", ".asc", ".hgt", ".dt0", ".img", ".dem", ".nc", ".gpkg", ".csv", ".ttf"} <= endings


def test_the_same_seed_spoils_alike():
    data = bytes(range(256)) * 20
    one, two = (spoil.spoilt(data, random.Random("7:3"), "http://127.0.0.1:1") for _ in range(2))
    assert one == two


def test_spoilt_input_is_words_or_a_plan(corpus):
    """No traceback, no death, no hang, no request, no raw mark; a refusal names a file and a remedy."""
    seed, listener = secrets.randbelow(2**31), Listener()
    print(f"seed {seed}")
    # what needs a plan first is left to `.ci/run`
    numbers = [n for n in range(3 * COUNT) if kind_of(seed, n) not in ("plan", "explain", "papers")][:COUNT]
    results = run(corpus, seed, numbers, listener.url, workers=1)
    listener.close()
    assert len(results) == COUNT
    wrong = [(r["number"], r["kind"], r["what"], r["faults"]) for r in results if r["faults"]]
    assert not wrong, (seed, wrong)
    assert not listener.heard, seed


def refused(data):
    """What a mission's data are refused with; None: they are taken."""
    from siteplanner.mission import mission_from_dict

    try:
        mission_from_dict(data, file="m.json")
    except Exception as fault:
        return fault
    return None


def test_a_mission_of_any_shape_is_refused_in_words(corpus):
    """Fields alone, without layers: thousands in a few seconds."""
    from siteplanner.errors import InputError

    seed = secrets.randbelow(2**31)
    print(f"seed {seed}")
    rng, base = random.Random(seed), mission_data(corpus, "valley")
    places = list(spoil.fields())
    until, count = time.process_time() + FIELDS_S, 0
    while time.process_time() < until:
        data = base
        for place, info in rng.sample(places, rng.choice((1, 1, 3))):
            data = spoil.with_field(data, place, rng.choice(spoil.values(info, rng)))
        count += 1
        fault = refused(data)
        assert fault is None or (isinstance(fault, InputError) and fault.file and fault.remedy), (seed, count, fault)
    assert count > 10
