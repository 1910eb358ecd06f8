"""The zip holds every output, its manifest tells the truth, and the same files give the same bytes."""

from __future__ import annotations

import hashlib
import json
import time
import zipfile

import pytest

from siteplanner.outputs import write
from siteplanner.outputs.package import CONTENTS, readme_text
from siteplanner.outputs.words.standard import PLANNING_AID
from tests.outputs.factory import make_plan


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("all")
    write.write_outputs(make_plan(10), out)
    return out


def test_everything_is_in_the_zip_and_hashed(folder):
    with zipfile.ZipFile(folder / "package.zip") as held:
        assert held.testzip() is None
        names = set(held.namelist())
        manifest = json.loads(held.read("manifest.json"))
        assert {row["file"] for row in manifest["files"]} == names - {"manifest.json"}
        for row in manifest["files"]:
            content = held.read(row["file"])
            assert hashlib.sha256(content).hexdigest() == row["sha256"]
            assert len(content) == row["bytes"]
            if row["file"] != "README.txt":
                assert content == (folder / row["file"]).read_bytes()
    written = {path.name for path in folder.iterdir()} - {"package.zip"}
    assert names == written | {"README.txt", "manifest.json"}
    beside = {"crew_*.pdf"}  # written with the driver's
    assert set(CONTENTS) - beside == set(write.WRITERS) - {"package.zip"}
    # this plan has no set of two trailers, and no trailer that stands already
    not_here = {"set_service.tif", "set_server.tif", "as_built_report.toml"}
    assert {name for name in CONTENTS if "*" not in name} - not_here <= names


def test_the_readme_is_plain_and_carries_the_cautions(folder):
    plan = make_plan(2)
    text = readme_text(plan, ["crew.pdf", "map.html"])
    assert "Park at spot A" in text
    assert "Overhead lines: stay outside the marked distance" in text
    assert "crew.pdf  set-up, aiming and cautions for the crew" in text
    assert PLANNING_AID in text


def test_the_same_files_give_the_same_zip(tmp_path):
    plan = make_plan(2)
    for name in ("a", "b"):
        write.write_outputs(plan, tmp_path / name, only=["plan.json", "ranking.csv", "crew.pdf", "package.zip"])
    assert (tmp_path / "a" / "package.zip").read_bytes() == (tmp_path / "b" / "package.zip").read_bytes()


def test_ten_spots_in_time_and_with_progress(tmp_path):
    """The limit is 20 s; a busy machine is allowed for."""
    seen = []
    start = time.process_time()
    write.write_outputs(make_plan(10), tmp_path, progress=lambda stage, share: seen.append(stage))
    assert time.process_time() - start < 20
    assert [f"Writing {name}" for name in write.WRITERS] == seen[:-1]
