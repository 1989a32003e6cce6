"""What all phones look at: the newest frame and the book, read once for all of them."""

from __future__ import annotations

import queue
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from monitor.road import Outcome
from monitor.sources.source import Packet
from monitor.store import Reader
from monitor.store.frames import BagEstimate
from monitor.store.in_room import RoomBook, room_book

#: How far back the store's hourly estimates still speak for the present.
PRESENT_S = 3 * 3600.0


@dataclass(frozen=True, slots=True)
class Commit:
    """When readings were committed last [monotonic s], and how long the oldest had waited [s]."""

    at_s: float
    latency_s: float


@dataclass(slots=True)
class Latest:
    """The newest closed frame and how many messages wait; each is replaced as a whole.

    The page reads the store for all else, so that it shows the same as `bagwatt alarms`; what
    is costly to read is kept until the store has a newer journal or frame.
    """

    outcome: Outcome | None = None
    commit: Commit | None = None
    waiting: Callable[[], int] = field(default=lambda: 0)
    room_for: int = 0
    _book: tuple[int, RoomBook] | None = None
    _stored: tuple[int, dict[str, BagEstimate]] | None = None

    def take(self, outcome: Outcome) -> None:
        """A frame was closed."""
        self.outcome = outcome

    def kept(self, oldest_s: float, at_s: float) -> None:
        """A batch is committed whose oldest message came then [monotonic s]."""
        self.commit = Commit(at_s, at_s - oldest_s)

    def watched_queue(self, length: int) -> queue.Queue[Packet]:
        """A queue of that length whose filling the page can tell."""
        packets: queue.Queue[Packet] = queue.Queue(length)
        self.waiting, self.room_for = packets.qsize, length
        return packets

    def book(self, store: Reader) -> RoomBook:
        """The bags as the store's journal has them."""
        number = store.mark()[2]
        kept = self._book
        if kept is None or kept[0] != number:
            self._book = kept = (number, room_book(store))
        return kept[1]

    def verdicts(self, store: Reader) -> tuple[float | None, Mapping[str, BagEstimate]]:
        """When the last frame ended and what is thought of each bag then.

        From the running daemon; after a start, until its first frame, from the store.
        """
        outcome = self.outcome
        if outcome is not None:
            return outcome.frame.end_s, outcome.verdicts
        last = store.last_frame()
        if last is None:
            return None, {}
        number = store.mark()[0]
        kept = self._stored
        if kept is None or kept[0] != number:
            found = store.estimates(last.end_s - PRESENT_S, last.end_s)
            newest = {estimate.bag: (estimate, evidence) for estimate, evidence in found}
            self._stored = kept = (number, newest)
        return last.end_s, kept[1]
