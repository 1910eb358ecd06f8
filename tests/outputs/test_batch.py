"""Many missions in one go: each in its own folder, one table, nothing finished is lost."""

from __future__ import annotations

import csv
import errno
import json
import signal
from pathlib import Path

import pytest

from siteplanner import cli
from siteplanner.errors import Cancelled
from siteplanner.outputs import write
from siteplanner.outputs.batch import SUMMARY, folder_names, plan_many
from tests.outputs.factory import make_plan
from tests.planning.conftest import write_mission

FEW = "refined_spots = 1\nlisted_spots = 2"


def small_mission(folder: Path, **changes: str) -> Path:
    """The valley with few spots to judge: here it counts which file is whose, not what stands in it."""
    return Path(write_mission(folder, spots=6, search=FEW, **changes))


def table(out: Path) -> list[dict[str, str]]:
    with (out / SUMMARY).open(encoding="utf-8-sig", newline="") as held:
        return list(csv.DictReader(held))


@pytest.fixture
def broken(tmp_path):
    path = tmp_path / "broken" / "mission.toml"
    path.parent.mkdir()
    path.write_text(
        'name = "=cmd()"\n[layers]\nelevation = "e.tif"\nincident_area = "gone.gpkg"\nroads = "r"\n'
        "[staging]\nlatitude = 44\nlongitude = -113\n",
        encoding="utf-8",
    )
    return path


def test_each_mission_has_its_folder_and_a_failed_one_stops_no_other(tmp_path, broken):
    first = small_mission(tmp_path / "north")
    second = small_mission(tmp_path / "south", radio="frequency_mhz = 700")
    stages, heard = [], []
    outcomes = plan_many(
        [first, broken, second],
        tmp_path / "out",
        only=("plan.json", "ranking.csv"),
        progress=lambda stage, share: stages.append((stage, share)),
        told=heard.append,
    )
    assert [o.state for o in outcomes] == ["planned", "failed", "planned"]
    assert heard == outcomes
    shares = [share for _, share in stages]
    assert shares == sorted(shares)
    assert stages[0][0].startswith("1 of 3, north: ")
    rows = table(tmp_path / "out")
    assert [row["folder"] for row in rows] == ["north", "", "south"]
    for row in (rows[0], rows[2]):
        record = json.loads((tmp_path / "out" / row["folder"] / "plan.json").read_text("utf-8"))
        best = record["spots"][0]
        assert float(row["latitude"]) == pytest.approx(best["latitude"], abs=1e-6)
        assert float(row["score_of_100"]) == pytest.approx(best["score"], abs=0.006)
        assert row["recommendation"] == record["recommendation"]
    assert rows[1]["mission"] == "'=cmd()"  # no spreadsheet runs it
    assert "gone.gpkg" in rows[1]["problem"]
    assert "Remedy:" in rows[1]["problem"]


def test_what_is_finished_stands_in_the_table_when_the_rest_is_stopped(tmp_path, broken):
    other = Path(write_mission(tmp_path / "late"))

    def stop(stage, share):
        if "late" in stage:
            raise Cancelled()

    with pytest.raises(Cancelled):
        plan_many([broken, other], tmp_path / "out", progress=stop)
    assert [row["state"] for row in table(tmp_path / "out")] == ["failed"]
    assert {p.name for p in (tmp_path / "out").iterdir()} == {SUMMARY}


def test_folders_are_told_apart_and_stay_inside():
    given = ("/a/Öst/mission.toml", "/b/öst/Mission.toml", "/c/../x y;z.toml", "/d/....toml")
    names = folder_names([Path(p) for p in given])
    assert names == ["Öst", "öst-2", "x_y_z", "mission"]


def test_the_command_takes_a_folder_and_says_what_failed(tmp_path, broken, capfd):
    code = cli.run(
        lambda: cli.app(args=["batch", str(tmp_path), "--out", str(tmp_path / "out"), "--quiet"], standalone_mode=False)
    )
    said = capfd.readouterr()
    assert code == 2
    assert "failed" in said.err
    assert "gone.gpkg" in said.err
    assert said.out.strip().endswith(SUMMARY)
    code = cli.run(lambda: cli.app(args=["batch", str(tmp_path / "out")], standalone_mode=False))
    assert code == 2
    assert "no mission file in this folder" in capfd.readouterr().err


@pytest.fixture
def clock_stands_still(monkeypatch):
    software = {"name": "siteplanner", "version": "0", "created": "2026-06-01T10:00:00Z"}
    monkeypatch.setattr("siteplanner.planning.plan.pipeline.software", lambda: software)
    no_seconds = property(lambda self: {}, lambda self, value: None)
    monkeypatch.setattr("siteplanner.planning.study.progress.Stages.timings_s", no_seconds, raising=False)


def test_workers_of_a_scheduler_plan_the_same_to_the_byte_and_what_is_finished_is_not_planned_again(
    tmp_path, clock_stands_still
):
    from distributed import LocalCluster

    missions = [
        small_mission(tmp_path / "north"),
        small_mission(tmp_path / "south", radio="frequency_mhz = 700"),
    ]
    only = ("plan.json", "ranking.csv", "judged.csv", "places.kml", "ruling.tif")
    one_by_one = plan_many(missions, tmp_path / "one", only=only)
    with LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address="127.0.0.1:0") as cluster:
        address = cluster.scheduler_address
        shared = plan_many(missions, tmp_path / "many", only=only, scheduler=address)
        assert [(o.state, o.folder, o.before) for o in shared] == [(o.state, o.folder, False) for o in one_by_one]
        for folder in ("north", "south"):
            for name in only:
                one, many = ((tmp_path / out / folder / name).read_bytes() for out in ("one", "many"))
                assert one == many, (folder, name)
        small_mission(tmp_path / "south", radio="frequency_mhz = 710")  # one input changes
        (tmp_path / "many" / "north" / "places.kml").unlink()  # and one output is lost
        again = plan_many(missions, tmp_path / "many", only=only, scheduler=address)
        assert [o.before for o in again] == [False, False]
    last = plan_many(missions, tmp_path / "many", only=only, told=lambda o: None)
    assert [o.before for o in last] == [True, True]
    assert [o.row for o in last] == [o.row for o in again]
    assert (tmp_path / "many" / "north" / "places.kml").exists()


def test_a_full_disk_fails_its_mission_in_words_keeps_what_stood_there_and_the_next_run_goes_on(tmp_path, monkeypatch):
    """A plan made by hand stands for planning: what is tried is the writing."""
    made = make_plan()
    monkeypatch.setattr("siteplanner.planning.plan.pipeline.plan", lambda *given, **named: made)
    missions = [Path(write_mission(tmp_path / name)) for name in ("north", "south")]
    out, only = tmp_path / "out", ("ranking.csv",)
    plan_many(missions, out, only=only)
    before = (out / "north" / "ranking.csv").read_bytes()
    write_mission(tmp_path / "north", radio="frequency_mhz = 710")  # to be planned again

    def full(*given):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setitem(write.WRITERS, "ranking.csv", full)
        failed, other = plan_many(missions, out, only=only)
    assert (failed.state, failed.folder) == ("failed", "")
    assert "No space left on device" in failed.row["problem"]
    assert "Remedy:" in failed.row["problem"]
    assert [row["state"] for row in table(out)] == ["failed", "planned"]
    assert other.before  # nothing of it is done again
    assert (out / "north" / "ranking.csv").read_bytes() == before
    assert [o.before for o in plan_many(missions, out, only=only)] == [False, True]


def test_what_is_said_of_an_interruption_is_said_once(tmp_path, monkeypatch, capfd):
    """Missions that are finished stand on the disk: nobody may read that nothing was written."""

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("siteplanner.outputs.batch.plan_many", interrupted)
    mission, before = write_mission(tmp_path / "m"), signal.getsignal(signal.SIGTERM)
    try:
        with pytest.raises(SystemExit) as ended:
            cli.main(["batch", str(mission), "--out", str(tmp_path / "out"), "--quiet"])
    finally:
        signal.signal(signal.SIGTERM, before)
    assert ended.value.code == 130
    said = capfd.readouterr().err
    assert "run the others again" in said
    assert "nothing was written" not in said
