"""The guard in front of every request, asked without a server: who passes, what answers carry."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from starlette.types import Message, Receive, Scope, Send

from monitor.page.guard import LONGEST_PATH, MOST_BODY_BYTES, Guard

#: What no answer may lack, said here once more so that a line that goes is missed.
WANTED = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}
POLICY = ("default-src 'none'", "base-uri 'none'", "frame-ancestors 'none'", "form-action 'self'")


class Asked:
    """A request put to a guard, and what came of it."""

    def __init__(self, *, hosts: tuple[str, ...] = ("localhost",), length: str = "",
                 path: str = "/", query: bytes = b"", body: tuple[bytes, ...] = (b"",),
                 kind: str = "http") -> None:  # fmt: skip
        headers = [(b"host", host.encode()) for host in hosts]
        headers += [(b"content-length", length.encode())] if length else []
        self.scope: Scope = {"type": kind, "path": path, "query_string": query, "headers": headers}
        self.passed = False
        self.heard: list[Message] = []
        self.answer: list[dict[str, Any]] = []
        self._body = list(body)
        asyncio.run(Guard(self._page, ["spawn-run"])(self.scope, self._receive, self._send))

    async def _page(self, scope: Scope, receive: Receive, send: Send) -> None:
        self.passed = True
        while not self.heard or self.heard[-1].get("more_body"):
            self.heard.append(await receive())
        await send({"type": "http.response.start", "status": 200, "headers": []})

    async def _receive(self) -> Message:
        part = self._body.pop(0)
        return {"type": "http.request", "body": part, "more_body": bool(self._body)}

    async def _send(self, message: Message) -> None:
        self.answer.append(dict(message))

    @property
    def status(self) -> int:
        return int(self.answer[0]["status"])

    @property
    def headers(self) -> dict[str, str]:
        return {name.decode(): value.decode() for name, value in self.answer[0]["headers"]}


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        ({"hosts": ()}, 421),
        ({"hosts": ("localhost", "localhost")}, 421),
        ({"hosts": ("elsewhere.example",)}, 421),
        ({"length": str(MOST_BODY_BYTES + 1)}, 413),
        ({"length": "12x"}, 413),
        ({"length": "-1"}, 413),
        ({"path": "/" * (LONGEST_PATH + 1)}, 414),
        ({"query": b"q" * (LONGEST_PATH + 1)}, 414),
    ],
    ids=lambda one: str(one)[:40],
)
def test_what_is_wrong_about_a_request_is_refused_before_the_page(
    asked: dict[str, Any], status: int
) -> None:
    one = Asked(**asked)
    assert (one.status, one.passed) == (status, False)


@pytest.mark.parametrize("host", ["localhost:8080", "spawn-run", "192.0.2.7", "[::1]:80"])
def test_the_names_and_addresses_of_the_page_pass_up_to_every_limit(host: str) -> None:
    one = Asked(hosts=(host,), length=str(MOST_BODY_BYTES), query=b"q" * LONGEST_PATH)
    assert (one.status, one.passed) == (200, True)


@pytest.mark.parametrize("asked", [{}, {"hosts": ()}, {"length": "99999999"}])
def test_every_answer_a_refusal_too_carries_the_same_headers(asked: dict[str, Any]) -> None:
    headers = Asked(**asked).headers
    assert {name: headers.get(name) for name in WANTED} == WANTED
    assert all(word in headers["content-security-policy"] for word in POLICY)
    assert "unsafe" not in headers["content-security-policy"]


def test_only_what_never_changes_may_be_kept_by_a_browser() -> None:
    assert "cache-control" not in Asked(path="/static/page.css").headers


def test_a_body_without_a_length_is_cut_off_beyond_the_limit() -> None:
    half = b"x" * (MOST_BODY_BYTES // 2)
    assert [one["type"] for one in Asked(body=(half, half)).heard] == ["http.request"] * 2
    heard = Asked(body=(half, half, b"x", half)).heard
    assert [one["type"] for one in heard] == ["http.request", "http.request", "http.disconnect"]


def test_nothing_but_http_is_answered() -> None:
    one = Asked(kind="websocket")
    assert (one.passed, one.answer) == (False, [])
