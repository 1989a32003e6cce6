"""Frames gathered into the open row: each bag's mean warmth over its lagged local air."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from monitor.judge.handling import Handling
from monitor.judge.history import BY_HAND, BY_PROBE
from monitor.values import Bag, Frame


class Gathering:
    """The row that is open now.

    `row_s` a row's length [s]; for `warm_up_s` after a bag is first met its lagged air means
    nothing yet and its probe's values are left out.
    """

    def __init__(self, row_s: float, warm_up_s: float) -> None:
        self._row_s = row_s
        self._warm_up_s = warm_up_s
        self._number: int | None = None
        self._sums: dict[int, dict[str, list[float]]] = {BY_PROBE: {}, BY_HAND: {}}
        self._first_s: dict[str, float] = {}

    def gather(
        self,
        frame: Frame,
        bags: Mapping[str, Bag],
        lagged_air_c: Mapping[str, float],
        handling: Handling,
    ) -> None:
        """Add a frame; bags still settling after handling are left out."""
        if self._number is None:
            self._number = int((frame.end_s - 0.5 * frame.length_s) // self._row_s)
        end_s, first_s = frame.end_s, self._first_s
        settling = handling.settling(end_s)
        usual_c = None
        readings = [(name, mean.mean, BY_PROBE) for name, mean in frame.surface_c.items()]
        readings += [(hand.bag, hand.surface_c, BY_HAND) for hand in frame.hand]
        for name, surface_c, means in readings:
            if name not in bags or name in settling:
                continue
            met_s = first_s.setdefault(name, end_s)
            if means == BY_PROBE and end_s - met_s < self._warm_up_s:
                continue
            air_c = lagged_air_c.get(name)
            if air_c is None:
                usual_c = air_c = _usual(frame) if usual_c is None else usual_c
            sums = self._sums[means]
            if name in sums:
                sums[name][0] += surface_c - air_c
                sums[name][1] += 1.0
            else:
                sums[name] = [surface_c - air_c, 1.0]

    def close(self, end_s: float) -> tuple[int, dict[str, tuple[float, int]]] | None:
        """The row's number and (warmth [K], means) by bag once its time is over, else None.

        A bag read by a probe and by hand counts as read by its probe.
        """
        if self._number is None or end_s < (self._number + 1) * self._row_s:
            return None
        values = {
            name: (entry[0] / entry[1], means)
            for means in (BY_HAND, BY_PROBE)
            for name, entry in self._sums[means].items()
        }
        number, self._number = self._number, None
        for sums in self._sums.values():
            sums.clear()
        return number, values

    def drop(self, bag: str, by_hand: bool) -> None:
        """Forget what the open row has of a bag, its hand readings too if `by_hand`."""
        self._sums[BY_PROBE].pop(bag, None)
        if by_hand:
            self._sums[BY_HAND].pop(bag, None)

    def forget(self, bag: str) -> None:
        """Drop a bag that left the room."""
        self.drop(bag, by_hand=True)
        self._first_s.pop(bag, None)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "number": self._number,
            "by_probe": {name: list(entry) for name, entry in self._sums[BY_PROBE].items()},
            "by_hand": {name: list(entry) for name, entry in self._sums[BY_HAND].items()},
            "first_s": dict(self._first_s),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._number = state["number"]
        for means, key in ((BY_PROBE, "by_probe"), (BY_HAND, "by_hand")):
            self._sums[means] = {name: list(entry) for name, entry in state[key].items()}
        self._first_s = dict(state["first_s"])


def _usual(frame: Frame) -> float:
    """The median surface [°C]: what warmth is measured from where no air was ever read."""
    values = [mean.mean for mean in frame.surface_c.values()]
    values += [hand.surface_c for hand in frame.hand]
    return float(np.median(values)) if values else 0.0
