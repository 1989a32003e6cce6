"""Packets on their way into the store: in hand until a commit has kept them.

What a commit can't keep stays in hand: a line can't be asked for again, and a broker hands over
again only to who connects anew. Meanwhile the queue fills, and the sources wait.
"""

from __future__ import annotations

import math
import queue
import threading
from collections.abc import Callable, Sequence

from monitor.clock import Clock
from monitor.settings.schema_store import StoreSettings
from monitor.sources.source import Packet

LONGEST_WAIT_S = 0.5
#: So many messages some brokers send ahead of acknowledgement, then they wait (mosquitto's
#: max_inflight_messages): where that many came and no more follow, a commit lets it go on.
BURST, LULL_S = 20, 0.05
#: What was refused is tried again no sooner than this.
REFUSED_AGAIN_S = 5.0


class Batch:
    """What the next commit takes. One thread owns it."""

    def __init__(
        self, settings: StoreSettings, clock: Clock, incoming: queue.Queue[Packet]
    ) -> None:
        self._settings = settings
        self._clock = clock
        self._incoming = incoming
        self._packets: list[Packet] = []
        self._tried_s = -math.inf
        self._lull = False
        self._refused = False

    def __len__(self) -> int:
        return len(self._packets)

    def gather(self, left_s: float) -> None:
        """Take what the sources brought, waiting no longer than `left_s` [s of life], nor than
        until the batch is due."""
        wait_s, self._lull = self._wait_s(left_s), False
        if self._full:  # it was refused
            threading.Event().wait(wait_s)
        while not self._full:
            try:
                packet = self._incoming.get(block=wait_s > 0, timeout=max(wait_s, 0.001))
            except queue.Empty:
                self._lull = wait_s > 0
                return
            self._packets.append(packet)
            wait_s = 0.0

    def gather_all(self) -> None:
        """Take all that came: nothing comes any more."""
        while not self._incoming.empty():
            self._packets.append(self._incoming.get_nowait())

    def due(self) -> bool:
        """Whether it is time to commit what is in hand."""
        if not self._packets:
            return False
        stopped = self._lull and len(self) >= BURST
        return (not self._refused and (self._full or stopped)) or self._due_in_s() <= 0.0

    def commit(self, keep: Callable[[Sequence[Packet]], bool]) -> list[Packet]:
        """Have all in hand kept; returns the packets that are."""
        self._tried_s = self._clock.monotonic_s()
        self._refused = bool(self._packets) and not keep(self._packets)
        if self._refused:
            return []
        kept, self._packets = self._packets, []
        return kept

    @property
    def _full(self) -> bool:
        return len(self) >= self._settings.commit_count

    def _due_in_s(self) -> float:
        """Until the next commit may be [s of life]: what comes after a pause need not wait."""
        every_s = self._settings.commit_every_s
        if self._refused:
            every_s = max(every_s, REFUSED_AGAIN_S)
        return every_s - self._clock.real_s(self._clock.monotonic_s() - self._tried_s)

    def _wait_s(self, left_s: float) -> float:
        if self._packets:
            left_s = min(left_s, self._due_in_s())
        longest_s = LULL_S if len(self) >= BURST else LONGEST_WAIT_S
        return min(max(left_s, 0.001), longest_s)
