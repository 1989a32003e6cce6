"""An outside heartbeat: a GET to a dead man's switch of the user's choice.

It says "the monitor is well" and nothing else, and only while it is: when the Pi has no
power, no network, or a part of the monitor stands still, the switch hears nothing and tells
the grower by its own way. The URL is a secret: who has it can keep the switch silent.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol
from urllib.parse import urlsplit

from monitor.clock import Clock

if TYPE_CHECKING:
    from http.client import HTTPConnection

    from monitor.settings.schema import HeartbeatSettings

LIMIT_S = 20.0
FAILING_AFTER = 3


@dataclass(frozen=True, slots=True)
class HeartbeatHealth:
    """How the switch answers. `failures` in a row; `detail` never holds the URL."""

    failures: int = 0
    since_s: float | None = None
    sent_s: float | None = None
    detail: str = ""

    @property
    def failing(self) -> bool:
        """Worth an alarm: three beats in a row did not get through."""
        return self.failures >= FAILING_AFTER


class Pulse(Protocol):
    """What a watch asks of its heartbeat."""

    def start(self) -> None: ...
    def stop(self) -> None: ...
    def health(self) -> HeartbeatHealth: ...


class NoHeartbeat:
    """For who has no switch."""

    def start(self) -> None:
        """Nothing to start."""

    def stop(self) -> None:
        """Nothing to stop."""

    def health(self) -> HeartbeatHealth:
        return HeartbeatHealth()


class Heartbeat:
    """Beats in a thread of its own, one request at a time, while `alive()`."""

    def __init__(
        self,
        settings: HeartbeatSettings,
        clock: Clock,
        alive: Callable[[], bool],
        limit_s: float = LIMIT_S,
    ) -> None:
        self._url = settings.url
        self._every_s = settings.every_s
        self._clock = clock
        self._alive = alive
        self._limit_s = limit_s
        self._stopping = threading.Event()
        self._health = HeartbeatHealth()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """End after the beat under way, which is not waited for."""
        self._stopping.set()

    def health(self) -> HeartbeatHealth:
        return self._health

    def _run(self) -> None:
        """The first beat comes one interval after the start, so that a restart loop shows."""
        while not self._stopping.wait(self._clock.real_s(self._every_s)):
            if self._alive():
                self._note(beat(self._url.reveal(), self._limit_s))

    def _note(self, fault: str) -> None:
        now_s, before = self._clock.wall_s(), self._health
        if not fault:
            self._health = HeartbeatHealth(sent_s=now_s)
            return
        since_s = now_s if before.since_s is None else before.since_s
        self._health = HeartbeatHealth(before.failures + 1, since_s, before.sent_s, fault)


def beat(url: str, limit_s: float = LIMIT_S) -> str:
    """One GET to `url` (http or https); what went wrong, or an empty text after a 2xx.

    Ends within `limit_s` once connected, even where the server drips its answer; follows no
    redirect; never raises, and never shows the URL.
    """
    from http.client import HTTPConnection, HTTPException, HTTPSConnection  # noqa: PLC0415

    try:
        parts = urlsplit(url)
        maker = HTTPSConnection if parts.scheme == "https" else HTTPConnection
        connection = maker(parts.hostname or "", parts.port, timeout=limit_s / 2)
        connection.connect()
    except (OSError, ValueError, HTTPException) as error:
        return f"not reached ({type(error).__name__})"
    guard = threading.Timer(limit_s, cut, [connection.sock])
    guard.daemon = True
    guard.start()
    try:
        return _asked(connection, parts.path or "/", parts.query)
    except (OSError, ValueError, HTTPException) as error:
        return f"no answer ({type(error).__name__})"
    finally:
        guard.cancel()
        connection.close()


def _asked(connection: HTTPConnection, path: str, query: str) -> str:
    connection.request("GET", f"{path}?{query}" if query else path, headers={"Connection": "close"})
    status = connection.getresponse().status
    return "" if 200 <= status < 300 else f"answered {status}"


def cut(wire: socket.socket) -> None:
    """End a connection from beside; who reads from it gets an error."""
    try:
        wire.shutdown(socket.SHUT_RDWR)
    except OSError:
        return
