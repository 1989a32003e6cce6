"""Sending again: a stretch of the store, or the points a server refused. For a person, at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, islice

from monitor.clock import Clock
from monitor.mirror.points import Points, tried
from monitor.mirror.sending import Sending
from monitor.mirror.server import Server
from monitor.mirror.walk import Walk
from monitor.settings.schema import MirrorSettings
from monitor.store import Store, copied, mirrored
from monitor.store.mirrored import Parked


@dataclass(frozen=True, slots=True)
class Resent:
    """What became of points sent again; `problem` where it had to stop, `gone` readings pruned."""

    taken: int = 0
    refused: int = 0
    gone: int = 0
    problem: str = ""


class Resending:
    """One such errand; `watch` may be running beside it, as the same points stay the same."""

    def __init__(self, store: Store, settings: MirrorSettings, room: str, clock: Clock) -> None:
        self._store = store
        self._settings = settings
        self._room = room
        self._clock = clock
        self._sending = Sending(Server(settings), lambda at_s: tried(settings.site, room, at_s))
        mirrored.begin(store, settings.target)

    def stretch(self, from_s: float, to_s: float) -> Resent:
        """The frames that hold this stretch, with their estimates, and its alarm events."""
        points = Points(self._settings.site, self._room, self._settings.tags)
        place = mirrored.place_at(self._store, from_s)
        walk = Walk(self._store, points, place)
        lines = chain(
            (points.event(one) for one in copied.events(self._store, 0, from_s, to_s)),
            (one.line for one in walk.until(to_s)),
        )
        taken = refused = 0
        gone = mirrored.gone(self._store, place.reading_id, to_s)
        for batch in _batches(filter(None, lines), self._settings.batch):
            now_s = self._clock.wall_s()
            sent = self._sending.send(batch, now_s)
            if sent.failed is not None:
                return Resent(taken, refused, gone, sent.failed.detail)
            if sent.refused:
                mirrored.park(self._store, self._settings.target, sent.refused, now_s)
            taken += sent.taken
            refused += len(sent.refused)
        return Resent(taken, refused, gone)

    def parked(self) -> Resent:
        """The parked points, of which those that are taken now are parked no longer."""
        taken = refused = 0
        for page in _pages(self._store, self._settings):
            by_line: dict[str, list[int]] = {}
            for one in page:
                by_line.setdefault(one.line, []).append(one.id)
            sent = self._sending.send(list(by_line), self._clock.wall_s())
            if sent.failed is not None:
                return Resent(taken, refused, problem=sent.failed.detail)
            again = [(number, why) for line, why in sent.refused for number in by_line.pop(line)]
            there = list(chain.from_iterable(by_line.values()))
            mirrored.unpark(self._store, there, again)
            taken += len(there)
            refused += len(again)
        return Resent(taken, refused)


def _pages(store: Store, settings: MirrorSettings) -> Iterator[list[Parked]]:
    last_id = 0
    while page := mirrored.parked(store, settings.target, settings.batch, last_id):
        last_id = page[-1].id
        yield page


def _batches(lines: Iterable[str], count: int) -> Iterator[list[str]]:
    source = iter(lines)
    while batch := list(islice(source, count)):
        yield batch
