"""Alarms that are over, in lines to read at a glance."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from monitor.store import Reader
from monitor.terms import Transition
from monitor.words import one_line

MOST_LINES = 60


@dataclass(frozen=True, slots=True)
class Ended:
    """An alarm that returned to normal."""

    at_s: float
    text: str


def ended_since(store: Reader, since_s: float, units: str, zone: tzinfo) -> list[Ended]:
    """Alarms that returned to normal since then, newest first."""
    events = [one for one in store.events(since_s) if one.transition is Transition.RETURNED]
    return [Ended(one.at_s, one_line(one, units, zone)) for one in reversed(events[-MOST_LINES:])]
