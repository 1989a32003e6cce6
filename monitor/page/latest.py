"""What all phones look at: the newest frame and the book, read once for all of them."""

from __future__ import annotations

import queue
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from monitor.road import Outcome
from monitor.sources.source import Packet
from monitor.store import Reader
from monitor.store.frames import BagEstimate
from monitor.terms import COMES_BACK, LEAVES
from monitor.values import Bag

#: How far back the store's hourly estimates still speak for the present.
PRESENT_S = 3 * 3600.0


@dataclass(frozen=True, slots=True)
class Book:
    """Every bag of the book, and those that were not pulled, isolated or taken to fruiting."""

    bags: Mapping[str, Bag]
    in_room: Mapping[str, Bag]


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
    _book: tuple[int, Book] | None = None
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

    def book(self, store: Reader) -> Book:
        """The bags as the store's journal has them."""
        number = store.mark()[2]
        kept = self._book
        if kept is None or kept[0] != number:
            self._book = kept = (number, _read_book(store))
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


def _read_book(store: Reader) -> Book:
    bags, _ = store.book()
    gone: set[str] = set()
    for one in store.entries():
        if one.struck:
            continue
        if one.entry.event in LEAVES:
            gone.add(one.entry.bag)
        elif one.entry.event == COMES_BACK:
            gone.discard(one.entry.bag)
    return Book(bags, {code: bag for code, bag in bags.items() if code not in gone})
