"""The monitor watching itself: is every part of it still getting on with its work?

Nobody is told "all is well" from a timer of its own: systemd's watchdog and the outside
heartbeat are fed only while each part has lately done a piece of its real work. A part that
stands still therefore leads to a restart, and to an alert from outside the Pi.
"""

from __future__ import annotations

import socket
from collections.abc import Iterable
from dataclasses import dataclass

from monitor.clock import process_seconds

#: How long a part may take for one round, in seconds of life.
TURN_LIMIT_S = 60.0
CLOSE_LIMIT_S = 120.0
SOURCE_LIMIT_S = 300.0
#: A look older than this tells that the main loop itself stands still.
STALE_S = 60.0
_FEED_EVERY_S = 1.0


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the monitor: for how long it has done nothing, and how long it may [s]."""

    name: str
    idle_s: float
    limit_s: float

    @property
    def stuck(self) -> bool:
        return self.idle_s > self.limit_s


class Notifier:
    """Tells systemd how the service is, by its notification protocol (man sd_notify).

    `address` is the value of NOTIFY_SOCKET: a path, or a name in the abstract namespace that
    begins with `@`. Empty, nothing is told. A message that can't be sent is dropped: systemd
    takes the silence for what it is.
    """

    def __init__(self, address: str = "") -> None:
        self._address = "\0" + address[1:] if address.startswith("@") else address

    def tell(self, *lines: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as out:
                out.sendto("\n".join(lines).encode(), self._address)
        except OSError:
            return


class Watchdog:
    """Looks at the parts from the main loop; any thread may ask whether all were well."""

    def __init__(self, notifier: Notifier) -> None:
        self._notifier = notifier
        self._fed_s = float("-inf")
        self._told = ""
        self._seen: tuple[float, tuple[str, ...]] = (float("-inf"), ("start",))

    def look(self, parts: Iterable[Part], faults: Iterable[str] = ()) -> tuple[str, ...]:
        """The names of the parts that stand still; feeds systemd's watchdog where none does.

        `faults` are troubles that a restart does not cure: they only withhold the heartbeat.
        """
        stuck = tuple(part.name for part in parts if part.stuck)
        now_s = process_seconds()
        self._seen = (now_s, (*stuck, *faults))
        if not stuck and now_s - self._fed_s >= _FEED_EVERY_S:
            self._fed_s = now_s
            self._notifier.tell("WATCHDOG=1")
        status = f"standing still: {', '.join(stuck)}" if stuck else "watching"
        if status != self._told:
            self._told = status
            self._notifier.tell(f"STATUS={status}")
        return stuck

    def alive(self) -> bool:
        """Whether all parts got on with their work, and the main loop said so lately."""
        seen_s, wrong = self._seen
        return not wrong and process_seconds() - seen_s <= STALE_S

    def ready(self) -> None:
        self._notifier.tell("READY=1")

    def stopping(self) -> None:
        self._notifier.tell("STOPPING=1", "STATUS=stopping")
