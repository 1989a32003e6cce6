"""One bag: its course beside its cohort, the evidence, what was done to it, who else to look at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.judge.neighbours import Neighbours, neighbours
from monitor.page.latest import Latest
from monitor.store import Reader, StandingAlarm
from monitor.store.frames import BagEstimate
from monitor.values import AlarmEvent, Bag, BookEntry, Estimate, Evidence

COURSE_S = 4 * 86400.0
#: Mates whose courses make the cohort's band; more would tell no more.
MOST_MATES = 11
FEWEST_FOR_BAND = 3
MOST_HAPPENINGS = 30


@dataclass(frozen=True, slots=True)
class Point:
    """A bag at one hour [°C]: its surface, the air through its lag, what its cohort explains,
    and between which surfaces the cohort's mates would put it (second lowest to second
    highest where they are five or more, else lowest to highest)."""

    at_s: float
    surface_c: float | None
    air_c: float | None
    explained_c: float | None
    band_low_c: float | None = None
    band_high_c: float | None = None
    core_c: float | None = None
    evidence: float | None = None


@dataclass(frozen=True, slots=True)
class BagView:
    """All that a bag's page shows."""

    bag: Bag
    in_room: bool
    at_s: float | None
    estimate: Estimate | None
    evidence: Evidence | None
    course: tuple[Point, ...]
    alarms: tuple[StandingAlarm, ...]
    events: tuple[AlarmEvent, ...]
    entries: tuple[BookEntry, ...]
    near: Neighbours


def look_at_bag(store: Reader, latest: Latest, code: str) -> BagView | None:
    """A bag's page; None where the book has no such bag."""
    book = latest.book(store)
    bag, in_room = book.bags.get(code), book.in_room
    if bag is None:
        return None
    at_s, verdicts = latest.verdicts(store)
    estimate, evidence = verdicts.get(code, (None, None))
    until_s = at_s if at_s is not None else 0.0
    mates = [one.bag for one in in_room.values() if one.cohort == bag.cohort and one.bag != code]
    own = store.estimates(until_s - COURSE_S, until_s, code)
    theirs = [store.estimates(until_s - COURSE_S, until_s, one) for one in mates[:MOST_MATES]]
    events = [one for one in store.events(until_s - 3 * COURSE_S) if _is_of(one, code)]
    entries = [one.entry for one in store.entries(code) if not one.struck]
    return BagView(
        bag,
        code in in_room,
        at_s,
        estimate,
        evidence,
        course(own, theirs),
        tuple(one for one in store.standing() if _is_of(one.latest, code)),
        tuple(events[-MOST_HAPPENINGS:]),
        tuple(entries[-MOST_HAPPENINGS:]),
        neighbours(bag, in_room),
    )


def _is_of(event: AlarmEvent, code: str) -> bool:
    return code in (event.facts.bag, event.subject)


def course(own: Sequence[BagEstimate], mates: Sequence[Sequence[BagEstimate]]) -> tuple[Point, ...]:
    """The bag's hours; the band is its own lagged air plus its mates' warmth over theirs."""
    warmth: dict[float, list[float]] = {}
    for one in mates:
        for estimate, _ in one:
            if estimate.excess_k is not None:
                warmth.setdefault(estimate.at_s, []).append(estimate.excess_k)
    return tuple(_point(*pair, warmth.get(pair[0].at_s, [])) for pair in own)


def _point(estimate: Estimate, evidence: Evidence | None, mates_k: list[float]) -> Point:
    surface_c, over_air_k = estimate.surface_c, estimate.excess_k
    air_c = surface_c - over_air_k if surface_c is not None and over_air_k is not None else None
    over_k = evidence.excess_k if evidence is not None else None
    low_c = high_c = None
    if air_c is not None and len(mates_k) >= FEWEST_FOR_BAND:
        ranked = sorted(mates_k)
        cut = 1 if len(ranked) >= 5 else 0
        low_c, high_c = air_c + ranked[cut], air_c + ranked[-1 - cut]
    return Point(
        estimate.at_s,
        surface_c,
        air_c,
        surface_c - over_k if surface_c is not None and over_k is not None else None,
        low_c,
        high_c,
        estimate.core_c,
        evidence.hot if evidence is not None else None,
    )
