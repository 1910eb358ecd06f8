"""Who is let in: only what asks this machine by name, from its own pages, below the secret name of this account.

A page of the web cannot read what it does not know the address of, nor put it into a frame; another account of the
computer meets a closed door at every other path. Cookies would not do: a browser sends them to every port of a host.
"""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Asgi = Callable[[Scope, Callable[[], Awaitable[Any]], Send], Awaitable[None]]

CLOSED = ("_stcore/metrics", "_stcore/agent", "_stcore/script-health-check")  # nothing of ours asks for these
WORDS = "Nothing is here. Open the whole address that `siteplanner app` has printed.\n"
HEADERS = (
    # frames of the map come from this very address, and no other page may hold ours
    (b"x-frame-options", b"SAMEORIGIN"),
    (b"content-security-policy", b"frame-ancestors 'self'"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"referrer-policy", b"no-referrer"),  # the address is a secret
    (b"x-content-type-options", b"nosniff"),
)


class Door:
    """An ASGI application in front of another (ASGI specification 3.0): it hands on what may come in.

    `key`: the first part of every path that is answered. `hosts`: names by which this server may be asked, with port.
    """

    def __init__(self, inner: Asgi, key: str, hosts: tuple[str, ...]) -> None:
        if not key:
            raise ValueError("a door needs a key")
        self._inner, self._key = inner, key.encode()
        self._hosts = tuple(host.lower().encode() for host in hosts)

    async def __call__(self, scope: Scope, receive: Callable[[], Awaitable[Any]], send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._inner(scope, receive, send)
            return
        status = self._refusal(scope)
        if status is not None:
            await _refuse(scope, send, status)
            return

        async def marked(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                given = {name for name, _ in HEADERS}
                kept = [(n, v) for n, v in message.get("headers", []) if bytes(n).lower() not in given]
                message = {**message, "headers": [*kept, *HEADERS]}
            await send(message)

        await self._inner(scope, receive, marked)

    def _refusal(self, scope: Scope) -> int | None:
        """The status with which a request is turned away; None for one that may come in."""
        heads = [(bytes(name).lower(), bytes(value).lower()) for name, value in scope["headers"]]
        hosts = [value for name, value in heads if name == b"host"]
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return 421  # RFC 9110, section 15.5.20: not the server that was meant
        if any(value != b"http://" + hosts[0] for name, value in heads if name == b"origin"):
            return 403
        first, _, rest = scope["path"].lstrip("/").partition("/")
        if not hmac.compare_digest(first.encode("utf-8", "replace"), self._key):
            return 404
        return 404 if rest.rstrip("/").startswith(CLOSED) else None


async def _refuse(scope: Scope, send: Send, status: int) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})  # before it is accepted: answered as 403
        return
    heads = [(b"content-type", b"text/plain; charset=utf-8"), *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": heads})
    await send({"type": "http.response.body", "body": WORDS.encode()})
