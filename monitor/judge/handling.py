"""What people did to bags, as far as the judge must know: where a bag's offset starts anew.

A bag moved, shaken or taped anew sits otherwise and is read otherwise: its constant warmth is
unknown again, its evidence is not. A row that falls into the settling time is not used.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.terms import HOUR_S
from monitor.values import BookEntry

#: How long after handling a bag's readings say nothing [s], by the book's event: a bag moved
#: follows its new air with a lag of 2 to 4 h; break and shake stops growth for 24 to 72 h
#: (trade practice), which is no stall.
SETTLING_S: Mapping[str, float] = {
    "moved": 8.0 * HOUR_S,
    "restacked": 8.0 * HOUR_S,
    "returned": 8.0 * HOUR_S,
    "shaken": 8.0 * HOUR_S,
    "re-taped": 1.0 * HOUR_S,
    "retaped": 1.0 * HOUR_S,
}
#: The longest that a shaken bag may rest [s].
LONGEST_REST_S = 72.0 * HOUR_S
#: How long a bag counts as handled [s]: nothing new is called meanwhile. Of bags shaken together
#: the first has grown again while the last still rests, so it is a day more than the rest.
HANDLED_S: Mapping[str, float] = {"shaken": LONGEST_REST_S + 24.0 * HOUR_S}


class Handling:
    """When each bag was handled."""

    def __init__(self) -> None:
        self._starts: dict[str, list[float]] = {}
        self._settled_s: dict[str, float] = {}
        self._handled_s: dict[str, float] = {}
        self._shaken_s: dict[str, float] = {}

    @property
    def shaken_s(self) -> Mapping[str, float]:
        """When bags were shaken last [s]."""
        return self._shaken_s

    def rests(self, bag: str, now_s: float) -> bool:
        """Whether the bag's growth rests, as it was shaken a short while ago."""
        return now_s < self._shaken_s.get(bag, -math.inf) + LONGEST_REST_S

    def note(self, entry: BookEntry) -> bool:
        """Take an entry of the book; whether it handles the bag."""
        event = entry.event.strip().lower()
        if event not in SETTLING_S:
            return False
        self._handle(entry.bag, entry.at_s, event)
        if event == "shaken":
            self._shaken_s[entry.bag] = max(entry.at_s, self._shaken_s.get(entry.bag, 0.0))
        return True

    def recognise_move(self, bag: str, at_s: float) -> float:
        """The bag was moved at `at_s` with nothing in the book; when it has settled [s]."""
        self._handle(bag, at_s, "moved")
        return at_s + SETTLING_S["moved"]

    def _handle(self, bag: str, at_s: float, event: str) -> None:
        self.restart(bag, at_s)
        settled_s = at_s + SETTLING_S[event]
        self._settled_s[bag] = max(settled_s, self._settled_s.get(bag, 0.0))
        handled_s = at_s + HANDLED_S.get(event, SETTLING_S[event])
        self._handled_s[bag] = max(handled_s, self._handled_s.get(bag, 0.0))

    def restart(self, bag: str, at_s: float) -> None:
        """The bag's offset is unknown again from `at_s` on."""
        starts = self._starts.setdefault(bag, [])
        starts.append(at_s)
        starts.sort()
        del starts[:-8]

    def settling(self, now_s: float) -> set[str]:
        """Bags whose readings say nothing yet."""
        return {bag for bag, settled_s in self._settled_s.items() if now_s < settled_s}

    def handled(self, now_s: float) -> set[str]:
        """Bags that count as handled."""
        return {bag for bag, handled_s in self._handled_s.items() if now_s < handled_s}

    def stretches(self, bag: str, at_s: NDArray[np.float64]) -> NDArray[np.int64]:
        """Which stretch between handlings each moment belongs to."""
        starts = np.array(self._starts.get(bag, []), dtype=np.float64)
        return np.searchsorted(starts, at_s, side="right").astype(np.int64)

    def forget(self, bag: str) -> None:
        """Drop a bag that left the room."""
        for table in (self._starts, self._settled_s, self._handled_s, self._shaken_s):
            table.pop(bag, None)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "starts": {bag: list(starts) for bag, starts in self._starts.items()},
            "settled_s": dict(self._settled_s),
            "handled_s": dict(self._handled_s),
            "shaken_s": dict(self._shaken_s),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._starts = {bag: list(starts) for bag, starts in state["starts"].items()}
        self._settled_s = dict(state["settled_s"])
        self._handled_s = dict(state["handled_s"])
        self._shaken_s = dict(state["shaken_s"])
