"""The app's server asks nobody, whatever page knocks, and obeys no settings but ours."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

from siteplanner.app import serve

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
    environment = {**serve.environment(), "RECORD": str(record)}
    environment["PYTHONPATH"] = os.pathsep.join([str(folder), environment["PYTHONPATH"]])
    with (folder / "log.txt").open("w") as log:
        process = subprocess.Popen(serve.command(port), env=environment, cwd=folder, stdout=log, stderr=log)
        try:
            until = time.monotonic() + 60
            while time.monotonic() < until and process.poll() is None:
                try:
                    if fetch(port, "/_stcore/health")[0] == 200:
                        break
                except OSError:
                    time.sleep(0.1)
            assert process.poll() is None, (folder / "log.txt").read_text()
            yield port, record, process
        finally:
            process.kill()
            process.wait()


def fetch(port, path, method="GET"):
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", method=method)
    try:
        with opener.open(request, timeout=5) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, ""


def knock(port, origin):
    """The status with which the server answers a WebSocket handshake from a page of this origin."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        line.sendall(
            f"GET /_stcore/stream HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
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
    host = json.loads(fetch(port, "/_stcore/host-config")[1])
    assert host["allowedOrigins"] == ["http://127.0.0.1"]
    assert fetch(port, "/_stcore/agent/interact", "POST")[0] in (403, 404, 405)


def test_it_ends_when_told(server):
    *_, process = server
    process.send_signal(signal.SIGTERM)
    assert process.wait(timeout=20) in (0, -signal.SIGTERM)


def test_the_command_takes_options_and_tells_wrong_ones():
    done = subprocess.run(
        [*serve.command(0), "--no.such=1"],
        env=serve.environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "no.such" in done.stderr
