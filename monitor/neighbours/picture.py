"""What is known of a room as a frame closes: what all of its messages are made from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from monitor.road import Outcome
from monitor.room_summary import LONGEST_NAME, utc_text
from monitor.store import StandingAlarm
from monitor.terms import AlarmKind
from monitor.values import Bag, Condition

#: Alarms on a bag itself: what its probe does is no word on the bag.
BAG_KINDS = frozenset({AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG, AlarmKind.OVERHEATING})


@dataclass(frozen=True, slots=True)
class Closed:
    """What the watch hands over at a close; `path` is the store that is written just now."""

    outcome: Outcome
    house: tuple[Condition, ...]
    problem: str
    path: Path


@dataclass(frozen=True, slots=True)
class Teller:
    """Who tells: the farm's name (empty where it has none), the room, the id of its store.

    The band of the room's air [°C]; `units` (C or F) and `zone` for words; `page` is where others
    open the room's page, empty where none can, and `every_s` how often a frame is closed [s].
    """

    site: str
    room: str
    instance: str
    band_low_c: float
    band_high_c: float
    units: str
    zone: tzinfo
    page: str = ""
    every_s: float = 600.0


@dataclass(frozen=True, slots=True)
class Picture:
    """A room at a close: its bags by code, the alarms that are told, those on each bag.

    `undelivered` messages that are due to people, `lag_s` from the frame's end to now [s].
    """

    closed: Closed
    bags: Mapping[str, Bag]
    alarms: tuple[StandingAlarm, ...]
    undelivered: int
    lag_s: float
    by_bag: Mapping[str, tuple[StandingAlarm, ...]]

    @classmethod
    def of(
        cls,
        closed: Closed,
        bags: Mapping[str, Bag],
        standing: Iterable[StandingAlarm],
        undelivered: int,
        lag_s: float,
    ) -> Picture:
        """Without the alarms that a wider one explains or a person put out of service."""
        told = tuple(one for one in standing if not (one.suppressed or one.out_of_service))
        return cls(closed, bags, told, undelivered, lag_s, _by_bag(told))

    @property
    def at_s(self) -> float:
        """The frame's end."""
        return self.closed.outcome.frame.end_s


def _by_bag(alarms: Iterable[StandingAlarm]) -> dict[str, tuple[StandingAlarm, ...]]:
    """The alarms on each bag itself, the gravest first."""
    found: dict[str, tuple[StandingAlarm, ...]] = {}
    for one in sorted(alarms, key=gravity):
        if one.latest.kind in BAG_KINDS:
            code = one.latest.facts.bag or one.latest.subject
            found[code] = (*found.get(code, ()), one)
    return found


def gravity(alarm: StandingAlarm) -> tuple[int, float, str]:
    """The order of alarms: the most urgent first, then the oldest."""
    return -alarm.latest.urgency.rank, alarm.raised.at_s, alarm.raised.alarm_id


def answered(alarm: StandingAlarm) -> bool:
    """Whether somebody acknowledged or shelved it."""
    return alarm.acknowledged_s is not None or alarm.shelved


def session_of(bag: Bag) -> str:
    """The name of a bag's session, or its moment of inoculation where it has none."""
    return name(bag.session) or utc_text(bag.inoculated_s)


def name(text: str) -> str:
    """A name no longer than a message takes."""
    return text if len(text) <= LONGEST_NAME else f"{text[: LONGEST_NAME - 1]}…"


def figure(value: float | None, digits: int = 3) -> float | None:
    """A number as it is told: a few digits, never NaN."""
    return None if value is None or not math.isfinite(value) else round(value, digits)
