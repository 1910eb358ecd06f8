"""The app's server asks nobody, whatever page knocks, and obeys no settings but ours."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from siteplanner.app import private, serve
from siteplanner.outputs.switch import Switch

# runs first in the server's process: writes down every name that is looked up and every address that is called, and
# lets none go out
RECORDER = """
import os, sys
def note(event, arguments):
    if event in ('socket.getaddrinfo', 'socket.gethostbyname', 'socket.connect', 'socket.sendto'):
        with open(os.environ['RECORD'], 'a') as sink:
            sink.write(f'{event} {arguments!r}\\n')
        if not any(near in repr(arguments) for near in ("'127.0.0.1'", "'localhost'", "'::1'")):
            raise OSError('refused by the recorder')
sys.addaudithook(note)
"""
KEY = "k" * 43
SETTINGS = """
[server]
enableAgentApi = true
enableStaticServing = true
[client]
allowedOrigins = ["https://evil.example"]
"""


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """(port, record, process) of a running server, started in a folder with settings of its own."""
    folder = tmp_path_factory.mktemp("server")
    (folder / "sitecustomize.py").write_text(RECORDER)
    (folder / ".streamlit").mkdir()
    (folder / ".streamlit" / "config.toml").write_text(SETTINGS)
    record = folder / "record.txt"
    port = serve.free_port(0)
    environment = {**serve.environment(KEY), "RECORD": str(record)}
    environment["PYTHONPATH"] = os.pathsep.join([str(folder), environment["PYTHONPATH"]])
    with (folder / "log.txt").open("w") as log:
        process = subprocess.Popen(serve.command(port), env=environment, cwd=folder, stdout=log, stderr=log)
        try:
            until = time.monotonic() + 60
            while time.monotonic() < until and process.poll() is None:
                try:
                    if fetch(port, f"/{KEY}/_stcore/health")[0] == 200:
                        break
                except OSError:
                    time.sleep(0.1)
            assert process.poll() is None, (folder / "log.txt").read_text()
            yield port, record, process
        finally:
            process.kill()
            process.wait()


def fetch(port, path, method="GET", **heads):
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", method=method, headers=heads)
    try:
        with opener.open(request, timeout=60) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, ""


def knock(port, origin, host="", key=KEY):
    """The status with which the server answers a WebSocket handshake from a page of this origin."""
    host, at = host or f"127.0.0.1:{port}", f"/{key}" if key else ""
    with socket.create_connection(("127.0.0.1", port), timeout=60) as line:
        line.sendall(
            f"GET {at}/_stcore/stream HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            f"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n"
            f"Origin: {origin}\r\n\r\n".encode()
        )
        return int(line.recv(4096).split(b" ", 2)[1])


def test_a_foreign_page_is_refused_and_nobody_is_asked(server):
    port, record, _ = server
    assert knock(port, f"http://127.0.0.1:{port}") == 101
    began = time.monotonic()
    assert knock(port, "http://evil.example") == 403
    assert knock(port, "null") == 403
    assert time.monotonic() - began < 3
    said = record.read_text() if record.exists() else ""
    far = [line for line in said.splitlines() if not re.search(r"'(127\.0\.0\.1|localhost|::1)'", line)]
    assert not far, far


def test_the_recorder_sees_what_it_is_there_for(server, tmp_path):
    """The framework's own functions, not ours: the record must show the call."""
    folder, record = tmp_path, tmp_path / "seen.txt"
    (folder / "sitecustomize.py").write_text(RECORDER)
    code = "from streamlit import net_util; assert net_util.get_external_ip() is None; net_util.get_internal_ip()"
    environment = {**os.environ, "PYTHONPATH": str(folder), "RECORD": str(record)}
    subprocess.run([sys.executable, "-c", code], env=environment, check=True, timeout=60)
    assert {line.split()[0] for line in record.read_text().splitlines()} >= {"socket.getaddrinfo", "socket.connect"}


def test_settings_of_the_folder_open_no_door(server):
    port, *_ = server
    host = json.loads(fetch(port, f"/{KEY}/_stcore/host-config")[1])
    assert host["allowedOrigins"] == ["http://127.0.0.1"]
    assert fetch(port, f"/{KEY}/_stcore/agent/interact", "POST")[0] in (403, 404, 405)


@pytest.mark.parametrize(
    "origin",
    ["http://localhost:9999", "http://127.0.0.1:9999", "http://0.0.0.0:1234", "http://127.0.0.1.evil.example", "file://",
     "https://127.0.0.1:{port}", "http://localhost:{port}"],
)  # fmt: skip
def test_a_page_of_another_port_of_this_machine_is_foreign(server, origin):
    port, *_ = server
    assert knock(port, origin.format(port=port)) == 403


def test_who_does_not_know_the_address_meets_a_closed_door(server):
    """Any account of the computer can reach the port; what it serves is below a name that only ours knows."""
    port, *_ = server
    for path in ("/", "/_stcore/health", "/_stcore/host-config", "/start", "/component/x", "/static/js/x.js"):
        for first in ("", "/wrong", f"/{KEY[:-1]}", f"/{KEY}x", f"/x/{KEY}"):
            assert fetch(port, first + path)[0] == 404, first + path
    assert knock(port, f"http://127.0.0.1:{port}", key="") == 403
    assert knock(port, f"http://127.0.0.1:{port}", key="wrong") == 403
    assert fetch(port, f"/{KEY}/_stcore/metrics")[0] == 404
    assert fetch(port, f"/{KEY}/")[0] == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example", "0.0.0.0:{port}"]
)
def test_a_name_that_is_made_to_point_here_is_refused(server, host):
    """DNS rebinding: the page's own name leads to this machine."""
    port, *_ = server
    host = host.format(port=port)
    assert knock(port, f"http://{host}", host=host) == 403
    assert fetch(port, f"/{KEY}/", Host=host)[0] == 421


def test_the_names_of_this_machine_are_let_in(server):
    port, *_ = server
    for host in (f"127.0.0.1:{port}", f"localhost:{port}"):
        assert knock(port, f"http://{host}", host=host) == 101
        assert fetch(port, f"/{KEY}/", Host=host)[0] == 200


def test_no_other_page_may_hold_ours_in_a_frame_or_learn_its_address(server):
    port, *_ = server
    request = urllib.request.Request(f"http://127.0.0.1:{port}/{KEY}/")
    with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=60) as answer:
        heads = {name.lower(): value for name, value in answer.headers.items()}
    assert heads["x-frame-options"] == "SAMEORIGIN"
    assert heads["content-security-policy"] == "frame-ancestors 'self'"
    assert heads["referrer-policy"] == "no-referrer"


@pytest.mark.skipif(sys.platform == "win32", reason="other systems have no such list")
def test_the_words_of_the_command_do_not_tell_the_address(server):
    *_, process = server
    listed = subprocess.run(["ps", "-o", "args=", "-p", str(process.pid)], capture_output=True, text=True, check=True)
    assert "siteplanner.app.server" in listed.stdout
    assert KEY not in listed.stdout


def test_a_key_is_of_this_account_alone_and_stays(tmp_path, monkeypatch):
    monkeypatch.setenv(private.ASKED, str(tmp_path / "held"))
    key = private.address_key()
    file = tmp_path / "held" / private.KEY_FILE
    assert len(key) >= 32
    assert private.address_key() == key
    assert not (file.stat().st_mode | file.parent.stat().st_mode) & 0o077
    file.chmod(0o644)  # others may have read it
    other = private.address_key()
    assert other != key
    file.unlink()
    (tmp_path / "planted").write_text(key)
    (tmp_path / "planted").chmod(0o600)
    file.symlink_to(tmp_path / "planted")
    assert private.address_key() != key


LEAVES = """
import os, signal
from siteplanner.app.private import PassingFolder
from pathlib import Path
held = PassingFolder()
(Path(held.name) / "upload.tif").write_bytes(b"x")
print(held.name, flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_the_next_start_removes_what_a_killed_program_left(tmp_path, monkeypatch):
    if os.name == "nt":
        pytest.skip("no folder can be held there")
    monkeypatch.setenv(private.ASKED, str(tmp_path / "held"))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    done = subprocess.run(
        [sys.executable, "-c", LEAVES], env={**os.environ, "TMPDIR": str(tmp_path)}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    left, alive = Path(done.stdout.strip()), private.PassingFolder()
    assert left.is_dir()
    unpacked, page = tmp_path / f"{private.UNPACKED}a", tmp_path / "held" / f"{private.WAY_IN}a.html"
    unpacked.mkdir()
    private.private_folder(page.parent)
    page.write_text("the address")
    long_ago = time.time() - 48 * 3600
    for path in (left, Path(alive.name), unpacked, page):
        os.utime(path, (long_ago, long_ago))
    young = tmp_path / f"{private.UNPACKED}b"
    young.mkdir()
    private.sweep()
    assert [p.exists() for p in (left, unpacked, page, Path(alive.name), young)] == [False, False, False, True, True]
    alive.cleanup()
    assert not Path(alive.name).exists()


def test_outputs_below_a_held_folder_are_written(tmp_path, monkeypatch):
    """Runs into one folder take turns by the folder above, which here is the one that the program holds."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    held = private.PassingFolder()

    def write():
        with Switch(Path(held.name) / "outputs") as switch:
            (switch.path / "plan.json").write_text("{}")
            switch.now({"plan.json"})

    writing = threading.Thread(target=write, daemon=True)
    writing.start()
    writing.join(20)
    assert not writing.is_alive()
    assert (Path(held.name) / "outputs" / "plan.json").is_file()
    held.cleanup()


def test_it_ends_when_told(server):
    *_, process = server
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=60) in (0, -signal.SIGTERM)


def test_the_command_takes_options_and_tells_wrong_ones():
    done = subprocess.run(
        [*serve.command(0), "--no.such=1"],
        env=serve.environment(KEY),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "no.such" in done.stderr
