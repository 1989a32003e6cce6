"""A walk in the order of the rack: which bag comes next and which are done."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from monitor.book.standing import Standing
from monitor.book.walkround import TAKEN, way_round
from monitor.page.acts import walk_of
from monitor.store import Reader
from monitor.values import Bag


@dataclass(frozen=True, slots=True)
class Stop:
    """A bag of the walk; `done` is what was typed there."""

    bag: Bag
    done: str = ""


@dataclass(frozen=True, slots=True)
class Round:
    """All bags in rack order, the one to read now, and a fresh key for its entry."""

    stops: tuple[Stop, ...]
    now: Stop | None
    key: str

    @property
    def done(self) -> int:
        return sum(bool(stop.done) for stop in self.stops)


def look_at_walk(store: Reader, now_s: float, who: str, bag: str, after: str) -> Round:
    """The round as it stands; `bag` is asked for by name, or the next undone one `after`."""
    number = walk_of(store, now_s, who)
    steps = store.walk_steps(number) if number is not None else []
    typed = {step.bag: step.typed for step in steps if step.state == TAKEN}
    stops = tuple(Stop(one, typed.get(one.bag, "")) for one in way_round(Standing.read(store)))
    return Round(stops, _next(stops, bag, after), secrets.token_urlsafe(12))


def _next(stops: tuple[Stop, ...], bag: str, after: str) -> Stop | None:
    codes = [stop.bag.bag for stop in stops]
    if bag in codes:
        return stops[codes.index(bag)]
    start = codes.index(after) + 1 if after in codes else 0
    ordered = stops[start:] + stops[:start]
    return next((stop for stop in ordered if not stop.done), None)
