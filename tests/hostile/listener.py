"""A host on the loopback that writes down who connects, and finds nothing."""

from __future__ import annotations

import itertools
import socket
import threading


class Listener:
    """`heard`: what was asked of it, by whatever library."""

    def __init__(self) -> None:
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.port = self.socket.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.heard: list[bytes] = []
        self.numbers = itertools.count()
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        while True:
            try:
                line, _ = self.socket.accept()
            except OSError:
                return
            line.settimeout(1)
            try:
                self.heard.append(line.recv(200) or b"connected")
                line.sendall(b"HTTP/1.1 404 no\r\nContent-Length: 0\r\nConnection: close\r\n\r\n")
            except OSError:
                self.heard.append(b"connected")
            line.close()

    def new(self) -> str:
        """A name that GDAL has not asked before: it remembers the answers."""
        return f"/vsicurl/{self.url}/{next(self.numbers)}.tif"

    def close(self) -> None:
        self.socket.close()
