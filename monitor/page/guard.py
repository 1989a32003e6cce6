"""What every request passes: the Host it names, how much it brings, what the answer carries."""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BODY_BYTES = 64 * 1024
LONGEST_PATH = 1024
_HOST = re.compile(r"(?P<name>\[[0-9a-fA-F:.]+\]|[^:\[\]/@\s]+)(:\d{1,5})?")

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self';"
        " connect-src 'self'; manifest-src 'self'; form-action 'self';"
        " base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """Refuses strange hosts and outsized requests; puts the same headers on every answer."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self._app = app
        self._hosts = known_hosts(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                if not scope["path"].startswith("/static/"):
                    headers["cache-control"] = "no-store"
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, send_guarded)
            return
        await self._app(scope, _Limited(receive), send_guarded)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not host_known(hosts[0], self._hosts):
            text = "This page is not called by that name; add it to page.hosts in the settings.\n"
            return PlainTextResponse(text, 421)
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > MOST_BODY_BYTES:
            return PlainTextResponse("That is more than is taken here.\n", 413)
        if len(scope["path"]) > LONGEST_PATH or len(scope["query_string"]) > LONGEST_PATH:
            return PlainTextResponse("That address is too long.\n", 414)
        return None


class _Limited:
    """A request's body, cut off where it grows beyond the limit (chunked, without a length)."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._left = MOST_BODY_BYTES

    async def __call__(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request":
            self._left -= len(message.get("body", b""))
            if self._left < 0:
                return {"type": "http.disconnect"}
        return message


def known_hosts(hosts: Iterable[str]) -> frozenset[str]:
    """Names the page answers to, besides plain addresses: its own, and those of the settings."""
    own = socket.gethostname().lower()
    return frozenset({"localhost", own, f"{own}.local", *(name.lower() for name in hosts)})


def host_known(host: str, known: frozenset[str]) -> bool:
    """Whether a Host header is one of the page's names or a plain IP address.

    A rebound name is always a name: an address in the Host header was typed, not resolved.
    """
    form = _HOST.fullmatch(host)
    if form is None:
        return False
    name = form["name"].lower().strip("[]")
    if name in known:
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
