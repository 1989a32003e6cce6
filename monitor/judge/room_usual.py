"""What a room usually does: the range of its hourly means over the last week."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from monitor.terms import DAY_S, HOUR_S

WEEK_H = 7 * 24
#: Hours after which day and night have both been seen.
ENOUGH_H = 20
#: Share of hours left out at each end: an open door, a hot afternoon.
TAIL = 0.05


@dataclass(frozen=True, slots=True)
class Usual:
    """The range the room keeps to [°C]; `learned` once day and night have both been seen."""

    low_c: float
    high_c: float
    learned: bool


class UsualRange:
    """Hourly means of ordinary hours. The newest day is left out once there is an older one,
    so that a slow drift doesn't teach its own excuse; hours of an upset are not ordinary, unless
    the day before had one at the same hour: sun and set-backs keep to the clock, faults do not."""

    def __init__(self) -> None:
        self._hours: list[tuple[float, float, bool]] = []
        self._open: list[float] = []
        self._open_s: float | None = None
        self._spoilt = False

    def add(self, end_s: float, level_c: float, ordinary: bool) -> None:
        """Take the level at a frame's end."""
        hour_s = math.ceil(end_s / HOUR_S) * HOUR_S
        if self._open_s is not None and hour_s > self._open_s:
            self._shut()
        self._open_s = hour_s
        self._open.append(level_c)
        self._spoilt = self._spoilt or not ordinary

    def _shut(self) -> None:
        if self._open and self._open_s is not None:
            mean_c = math.fsum(self._open) / len(self._open)
            self._hours = [*self._hours, (self._open_s, mean_c, not self._spoilt)][-WEEK_H:]
        self._open, self._spoilt = [], False

    def at(self, now_s: float) -> Usual | None:
        """The usual range as known at `now_s`; None before two hours are over."""
        usual = self._ordinary()
        older = [temp_c for at_s, temp_c in usual if at_s <= now_s - DAY_S]
        settled = [temp_c for at_s, temp_c in usual if at_s <= now_s - 2 * HOUR_S]
        if len(older) >= ENOUGH_H:
            settled = older
        if not settled:
            return None
        settled.sort()
        last = len(settled) - 1
        return Usual(
            low_c=settled[math.floor(TAIL * last)],
            high_c=settled[math.ceil((1 - TAIL) * last)],
            learned=len(settled) >= ENOUGH_H,
        )

    def _ordinary(self) -> list[tuple[float, float]]:
        """Hours of no upset, and those of one that came at the same hour of two days running."""
        upsets = {at_s for at_s, _, ordinary in self._hours if not ordinary}
        return [
            (at_s, temp_c)
            for at_s, temp_c, ordinary in self._hours
            if ordinary or not upsets.isdisjoint((at_s - DAY_S, at_s + DAY_S))
        ]

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "hours": [list(hour) for hour in self._hours],
            "open": list(self._open),
            "open_s": self._open_s,
            "spoilt": self._spoilt,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._hours = [
            (float(at_s), float(temp_c), bool(ordinary))
            for at_s, temp_c, ordinary in state["hours"]
        ]
        self._open = [float(temp_c) for temp_c in state["open"]]
        self._open_s = state["open_s"]
        self._spoilt = bool(state["spoilt"])
