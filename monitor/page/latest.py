"""What the daemon saw last, handed from its thread to the page's."""

from __future__ import annotations

import queue
from collections.abc import Callable
from dataclasses import dataclass, field

from monitor.road import Outcome
from monitor.sources.source import Packet


@dataclass(slots=True)
class Latest:
    """The newest closed frame and how many messages wait; each is replaced as a whole.

    The page reads the store for all else, so that it shows the same as `bagwatt alarms`.
    """

    outcome: Outcome | None = None
    waiting: Callable[[], int] = field(default=lambda: 0)
    room_for: int = 0

    def take(self, outcome: Outcome) -> None:
        """A frame was closed."""
        self.outcome = outcome

    def watched_queue(self, length: int) -> queue.Queue[Packet]:
        """A queue of that length whose filling the page can tell."""
        packets: queue.Queue[Packet] = queue.Queue(length)
        self.waiting, self.room_for = packets.qsize, length
        return packets
