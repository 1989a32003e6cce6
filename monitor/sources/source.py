"""What a source is: something that hands over packets, and takes them back once they are kept.

To add one: write a class with these methods, a settings model with its own `kind`, and a line
in the table of `monitor.sources`. Threads of a source only stamp and enqueue; bytes become
readings in `decode`, which the main loop calls, so that no odd message can stop the inflow.
"""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass, field
from typing import Protocol

from monitor.clock import process_seconds
from monitor.values import Decoded, Flag, Reason, Refusal, Refused


@dataclass(frozen=True, slots=True)
class Packet:
    """One message or line as it came.

    `topic` is an MQTT topic or a 1-Wire ROM, else empty. `received_s` is wall time [s since
    1970], `monotonic_s` the same moment on the monotonic clock. `marks` are what the source
    knows against it. `generation` counts the connections of the source and `token` is its
    handle for `acknowledge`. `dedup` is equal for the same message delivered twice; empty
    where that cannot happen. `session` names the broker's session in which it was counted:
    keep the newest beside the readings and hand it to `build_source` at the next start.
    """

    source: str
    payload: bytes
    topic: str
    received_s: float
    monotonic_s: float
    marks: tuple[Flag, ...] = ()
    generation: int = 0
    token: object | None = None
    dedup: str = ""
    session: str = ""

    def refused(self, reason: Refusal, detail: str) -> Refused:
        """This packet as one that did not become a reading."""
        return Refused(self.source, reason, detail, self.payload[:4096], self.received_s)


@dataclass(frozen=True, slots=True)
class SourceHealth:
    """How a source stands. `last_packet_monotonic_s` includes the source's own pulse.

    `idle_s` is for how long its thread has not come round [s of life], a rest on purpose not
    counted.
    """

    name: str
    connected: bool
    last_packet_monotonic_s: float | None
    problem: Reason | None
    detail: str
    counts: dict[str, int] = field(default_factory=dict)
    idle_s: float = 0.0


class Source(Protocol):
    """A source of packets. Only `start` makes threads; `stop` ends them within seconds."""

    @property
    def name(self) -> str: ...

    def start(self, sink: queue.Queue[Packet]) -> None:
        """Begin to put packets into `sink`, which must be bounded. Never raises for a device
        or broker that is away: that shows in `health`."""
        ...

    def decode(self, packet: Packet) -> Decoded:
        """Readings and refusals of a packet. Pure; never raises for any bytes."""
        ...

    def acknowledge(self, packet: Packet) -> None:
        """Say that the packet is kept for good. Call after the commit, from one thread."""
        ...

    def health(self, monotonic_s: float) -> SourceHealth: ...

    def stop(self) -> None: ...


class Standing:
    """The health of a source while its threads and the main loop share it."""

    def __init__(self, name: str, problem: Reason, detail: str) -> None:
        self._name = name
        self._lock = threading.Lock()
        self._connected = False
        self._heard_s: float | None = None
        self._problem: Reason | None = problem
        self._detail = detail
        self._counts: dict[str, int] = {}
        self._turned_s = process_seconds()

    def up(self, detail: str = "", problem: Reason | None = None) -> None:
        with self._lock:
            self._connected, self._problem, self._detail = True, problem, detail

    def down(self, problem: Reason, detail: str) -> None:
        with self._lock:
            self._connected, self._problem, self._detail = False, problem, detail

    def heard(self, monotonic_s: float) -> None:
        with self._lock:
            self._heard_s = monotonic_s

    def turned(self, rest_s: float = 0.0) -> None:
        """The thread came round, and rests for so long on purpose."""
        with self._lock:
            self._turned_s = process_seconds() + rest_s

    def count(self, what: str, by: int = 1) -> None:
        with self._lock:
            self._counts[what] = self._counts.get(what, 0) + by

    def health(self) -> SourceHealth:
        with self._lock:
            return SourceHealth(
                self._name,
                self._connected,
                self._heard_s,
                self._problem,
                self._detail,
                dict(self._counts),
                max(0.0, process_seconds() - self._turned_s),
            )


def put_patiently(
    sink: queue.Queue[Packet], packet: Packet, stopping: threading.Event, standing: Standing
) -> None:
    """Enqueue from a source's own thread, waiting for room: a line can't be asked for again."""
    while not stopping.is_set():
        standing.turned()
        try:
            sink.put(packet, timeout=0.2)
        except queue.Full:
            standing.count("waited for room")
        else:
            standing.count("packets")
            return
