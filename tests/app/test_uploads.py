"""What is dropped on a page takes memory once at the most while it comes, and none once it has been kept."""

from __future__ import annotations

import tracemalloc
from types import SimpleNamespace

import pytest
from streamlit.runtime.uploaded_file_manager import UploadedFile, UploadedFileRec

from siteplanner.app import bring, intake, server, uploads
from siteplanner.app.session import Work
from siteplanner.errors import InputError

LARGE = 8 << 20
PAGE = "page"


@pytest.fixture
def store(monkeypatch):
    """The server's own store of uploads, with one page open."""
    made = uploads.Uploads("/upload")
    page = SimpleNamespace(session_id=PAGE, uploaded_file_mgr=made)
    monkeypatch.setattr(uploads, "get_script_run_ctx", lambda: page)
    return made


@pytest.fixture
def unlooked(monkeypatch):
    monkeypatch.setattr(intake, "look_at", lambda path: [intake.Brought(path.name, "line", "roads")])


def sent(store, name: str, size: int, number: str = "1") -> None:
    store.add_file(PAGE, UploadedFileRec(number, name, "image/tiff", bytes(size)))


def shown(store, number: str = "1") -> UploadedFile:
    """The file as the framework hands it to the page, at each turn anew."""
    (held,) = store.get_files(PAGE, [number])
    return UploadedFile(held, None)


def test_the_server_keeps_what_is_dropped_in_our_store(monkeypatch):
    from streamlit.web.server import server as theirs

    given = []
    monkeypatch.setattr(theirs, "MemoryUploadedFileManager", theirs.MemoryUploadedFileManager)
    monkeypatch.setattr(theirs, "Runtime", given.append)
    server.keep_on_disk()
    theirs.Server("main.py", False)
    assert isinstance(given[0].uploaded_file_manager, uploads.Uploads)


def test_large_files_are_whole_in_memory_once_while_they_come_and_never_after(store, unlooked):
    work = Work("token")
    _ = work.files
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    for number in "123":
        sent(store, f"tile_{number}.tif", LARGE, number)
    coming = tracemalloc.get_traced_memory()[1] - before
    tracemalloc.reset_peak()
    seen = [shown(store, number) for number in "123"]
    bring.take_in(work, seen)
    now, keeping = (value - before for value in tracemalloc.get_traced_memory())
    tracemalloc.stop()
    assert [file.size for file in seen] == [LARGE] * 3
    assert sorted(p.stat().st_size for p in work.files.iterdir()) == [LARGE] * 3
    assert not work.refused
    assert coming < 1.5 * LARGE  # of three
    assert max(now, keeping) < LARGE / 8


def test_once_kept_nothing_of_an_upload_is_held(store, unlooked):
    work = Work("token")
    sent(store, "elevation.tif", LARGE, "1")
    sent(store, "roads.geojson", 100, "2")
    seen = [shown(store, "1"), shown(store, "2")]
    places = [held.data.path for held in store.get_files(PAGE, ["1"])]
    bring.take_in(work, seen)
    assert not any(store.file_storage.values())
    assert not any(place.exists() for place in places)
    assert [file.getvalue() for file in seen] == [b"", b""]  # a page keeps these from turn to turn
    assert (work.files / "elevation.tif").read_bytes() == bytes(LARGE)
    assert (work.files / "roads.geojson").read_bytes() == bytes(100)


def test_what_is_refused_is_let_go_too(store, monkeypatch):
    work = Work("token")
    monkeypatch.setattr(intake, "MAX_BYTES", 10)
    sent(store, "elevation.tif", LARGE)
    bring.take_in(work, [shown(store)])
    assert "larger than" in work.refused["elevation.tif"].what
    assert not any(store.file_storage.values())


def test_a_closed_page_leaves_no_file(store):
    sent(store, "elevation.tif", LARGE)
    (held,) = store.get_files(PAGE, ["1"])
    assert held.data.path.stat().st_size == LARGE
    store.remove_session_files(PAGE)
    assert not held.data.path.exists()
    assert not store.get_files(PAGE, ["1"])


def test_a_disk_that_takes_no_more_is_told_where_the_file_is_kept(store, monkeypatch, unlooked):
    from pathlib import Path

    def full(self, content):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    work = Work("token")
    sent(store, "elevation.tif", LARGE)
    bring.take_in(work, [shown(store)])
    assert "No space left" in work.refused["elevation.tif"].what


def test_what_is_small_by_its_kind_is_read_from_wherever_it_lies(store):
    sent(store, "area.geojson", uploads.SMALL_BYTES + 1)
    assert uploads.content(shown(store)) == bytes(uploads.SMALL_BYTES + 1)
    assert uploads.content(shown(store)) == bytes(uploads.SMALL_BYTES + 1)  # the page's next turn
    with pytest.raises(InputError, match=r"more than 1 MB.*area\.geojson|area\.geojson.*more than 1 MB"):
        uploads.content(shown(store), 1 << 20)
