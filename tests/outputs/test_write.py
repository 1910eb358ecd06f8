from __future__ import annotations

import json

import numpy as np
import pytest

from siteplanner.errors import Cancelled, OutputError
from siteplanner.outputs import write

QUICK = {"plan.json": write.WRITERS["plan.json"], "ranking.csv": write.WRITERS["ranking.csv"]}


def _left(folder):
    return sorted(path.name for path in folder.iterdir())


def test_json_has_no_nan_and_no_half_surrogates():
    text = write.json_text(
        {
            "a": float("nan"),
            "b": np.float32(1.5),
            "c": np.array([1, np.inf]),
            "d": "x\ud800",
            "e": (np.int64(3), np.bool_(True), None),
            5: {"z"},
        }
    )
    assert json.loads(text, parse_constant=pytest.fail) == {
        "a": None,
        "b": 1.5,
        "c": [1, None],
        "d": "x\ufffd",
        "e": [3, True, None],
        "5": ["z"],
    }
    text.encode("utf-8")


def test_files_land_in_a_new_folder(plan, tmp_path):
    seen = []
    files = write.write_outputs(
        plan,
        tmp_path / "new" / "out",
        only=[*QUICK, "ruling.tif"],
        progress=lambda stage, share: seen.append((stage, share)),
    )
    assert _left(tmp_path / "new" / "out") == ["plan.json", "ranking.csv", "ruling.tif", "ruling.tif.aux.xml"]
    assert {f.name for f in files} == set(_left(tmp_path / "new" / "out"))
    assert seen[0] == ("Writing plan.json", 0.0)
    assert [share for _, share in seen] == sorted(share for _, share in seen)
    record = json.loads((tmp_path / "new" / "out" / "plan.json").read_text("utf-8"))
    assert [spot["name"] for spot in record["spots"]] == list("ABCDEF")
    assert (tmp_path / "new" / "out" / "ranking.csv").read_bytes().startswith(b"\xef\xbb\xbfrank,")


@pytest.mark.parametrize("trouble", [OSError(28, "No space left on device"), RuntimeError("broken"), Cancelled()])
def test_a_failure_leaves_the_earlier_files(plan, tmp_path, monkeypatch, trouble):
    def fails(plan, path):
        path.write_text("half")
        raise trouble

    monkeypatch.setattr(write, "WRITERS", {**QUICK, "bad.txt": fails})
    (tmp_path / "plan.json").write_text("earlier")
    (tmp_path / "bad.txt").write_text("earlier too")
    with pytest.raises(OutputError if isinstance(trouble, OSError) else type(trouble)):
        write.write_outputs(plan, tmp_path)
    assert _left(tmp_path) == ["bad.txt", "plan.json"]
    assert (tmp_path / "plan.json").read_text() == "earlier"
    assert (tmp_path / "bad.txt").read_text() == "earlier too"


def test_cancelling_from_the_progress_leaves_nothing(plan, tmp_path):
    def stop(stage, share):
        if "ranking" in stage:
            raise Cancelled

    with pytest.raises(Cancelled):
        write.write_outputs(plan, tmp_path, only=QUICK, progress=stop)
    assert _left(tmp_path) == []


def test_an_output_with_nothing_to_say_does_not_leave_the_old_one(plan, tmp_path, monkeypatch):
    monkeypatch.setattr(write, "WRITERS", {"plan.json": QUICK["plan.json"], "coverage.tif": lambda plan, path: None})
    (tmp_path / "coverage.tif").write_text("of another plan")
    (tmp_path / "notes.txt").write_text("the user's own")
    write.write_outputs(plan, tmp_path)
    assert _left(tmp_path) == ["notes.txt", "plan.json"]


def test_a_folder_in_the_way_is_said_before_anything_moves(plan, tmp_path):
    (tmp_path / "ranking.csv").mkdir()
    with pytest.raises(OutputError, match="folder stands where a file must go"):
        write.write_outputs(plan, tmp_path, only=QUICK)
    assert _left(tmp_path) == ["ranking.csv"]


def test_a_file_where_the_folder_should_be(plan, tmp_path):
    (tmp_path / "out").write_text("")
    with pytest.raises(OutputError, match="folder cannot be written") as caught:
        write.write_outputs(plan, tmp_path / "out", only=QUICK)
    assert caught.value.file == str(tmp_path / "out")


def test_unknown_outputs_are_refused(plan, tmp_path):
    with pytest.raises(OutputError, match=r"no output plan\.jsn"):
        write.write_outputs(plan, tmp_path, only=["plan.jsn"])
