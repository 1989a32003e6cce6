"""The air a bag stands in: probes interpolated by shelf, passed through the bag's own lag."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any


def interpolate_air(air: Sequence[tuple[float | None, float]], shelf: float | None) -> float | None:
    """Air temperature [°C] at a shelf from (shelf, temperature [°C]) of the air probes.

    Linear between probes; beyond the outermost it stays at their value, because warm layers
    under a ceiling flatten and a line drawn on would not. Probes of one shelf are averaged.
    Probes or bags without a shelf take the mean of all. None without any probe. One probe
    gives its own reading everywhere: what is lost is the shelf's share, 2 to 4 K from floor
    to top in still air (common practice, no source), which the judge then learns as part of
    a bag's offset.
    """
    if not air:
        return None
    shelves: dict[float, list[float]] = {}
    for height, temp_c in air:
        if height is not None:
            shelves.setdefault(float(height), []).append(temp_c)
    if shelf is None or not shelves:
        return math.fsum(temp_c for _, temp_c in air) / len(air)
    points = [(height, math.fsum(temps) / len(temps)) for height, temps in sorted(shelves.items())]
    if shelf <= points[0][0]:
        return points[0][1]
    for (low, low_c), (high, high_c) in pairwise(points):
        if shelf <= high:
            return low_c + (high_c - low_c) * (shelf - low) / (high - low)
    return points[-1][1]


def lag_step(lagged_c: float, air_c: float, step_s: float, lag_s: float) -> float:
    """One exact step of a first-order lag towards air held constant over the step.

    T' = (T_air - T) / lag, solved: T + (T_air - T) (1 - exp(-step / lag)); any step length
    is stable (Incropera and DeWitt, lumped capacitance, equation 5.6). A `lag_s` of zero or
    below follows the air at once.
    """
    if lag_s <= 0:
        return air_c
    return lagged_c - (air_c - lagged_c) * math.expm1(-step_s / lag_s)


class LagBank:
    """The lagged local air of every bag, stepped once a frame.

    A bag begins at its local air. Where a bag has no air in a frame its lagged air holds and
    `air_age_s` grows, so that a day without air probes is survived and said.
    """

    def __init__(self) -> None:
        self._bags: dict[str, tuple[float, float]] = {}

    def step(
        self, end_s: float, local_air_c: Mapping[str, float], lag_s: Mapping[str, float]
    ) -> dict[str, float]:
        """Lagged air [°C] at `end_s` of every bag ever given air.

        `local_air_c` is this frame's mean air of each bag [°C]; `lag_s` each bag's time
        constant [s], which every bag of `local_air_c` must have.
        """
        for bag, air_c in local_air_c.items():
            before = self._bags.get(bag)
            if before is None:
                self._bags[bag] = (air_c, end_s)
            elif end_s > before[1]:
                lagged_c = lag_step(before[0], air_c, end_s - before[1], lag_s[bag])
                self._bags[bag] = (lagged_c, end_s)
        return {bag: lagged_c for bag, (lagged_c, _) in self._bags.items()}

    def air_age_s(self, bag: str, now_s: float) -> float | None:
        """How long ago the bag last had local air; None if never."""
        held = self._bags.get(bag)
        return None if held is None else now_s - held[1]

    def forget(self, bag: str) -> None:
        """Drop a bag that left the room."""
        self._bags.pop(bag, None)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {bag: list(held) for bag, held in sorted(self._bags.items())}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._bags = {bag: (float(lagged), float(at)) for bag, (lagged, at) in state.items()}
