"""Small makers for the tests of sources."""

from __future__ import annotations

import queue
import time

import pytest

from monitor.sources.source import Packet
from monitor.values import Decoded, Flag, Refusal

#: Wednesday 25 November 2026, 08:00 UTC.
NOW_S = 1_795_593_600.0


def packet(payload: bytes | str, topic: str = "", marks: tuple[Flag, ...] = ()) -> Packet:
    raw = payload.encode() if isinstance(payload, str) else payload
    return Packet("barn", raw, topic, NOW_S, 100.0, marks)


def reasons(decoded: Decoded) -> list[Refusal]:
    return [refused.reason for refused in decoded.refused]


def take(sink: queue.Queue[Packet], count: int, limit_s: float = 10.0) -> list[Packet]:
    """The next `count` packets; fails the test where they don't come."""
    taken: list[Packet] = []
    deadline = time.monotonic() + limit_s
    while len(taken) < count:
        try:
            taken.append(sink.get(timeout=max(0.0, deadline - time.monotonic())))
        except queue.Empty:
            pytest.fail(f"{len(taken)} of {count} packets within {limit_s:.0f} s: {taken}")
    return taken
