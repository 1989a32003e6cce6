"""The air a probe would feel if it hung free: slow from the air probes, fast from the bags.

An air probe read every few minutes catches a thermostat's swing at any point of it and says
little of the next quarter of an hour. What all bag probes have in common says more: each lets
through a share of what the air does just now, and their mean is worth many readings. So what is
slower than `slow_s` is taken from the air at the shelf, what is faster from the mates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.judge.slots import Slots

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class FeltParams:
    """Times in s, `most_k` in K.

    A probe in the air swings `over_bags` times as far as bag probes do in the mean: its own
    contact lets 10 to 35 % of the air through and the film of its bag follows the air by as much
    again (in 14 made-up rooms of coarse probes fallen ones swung 1.8 to 2.2 times as far, less
    the noise of the mean). `most_k` bounds what one probe may add to the mean in one frame.
    """

    slow_s: float = 1800.0
    memory_s: float = 21600.0
    over_bags: float = 2.2
    most_k: float = 0.6
    forget_s: float = 10800.0


class FeltAir:
    """What every bag probe would read in the air of its shelf.

    One column of `_table` for each probe: when it was last seen [s], and probe and air through
    `slow_s` [°C]. `_swing_var` is how much the mean of the probes has swung of late, and
    `_noise_var` how much of that is what is left of the noise of single probes [K²].
    """

    def __init__(self, params: FeltParams) -> None:
        self._params = params
        self._slots = Slots()
        self._table: Array = np.zeros((3, 0))
        self._swing_var = self._noise_var = 0.0

    def step(
        self, end_s: float, probes: Sequence[str], value_c: Array, air_c: Array, sound: Mask
    ) -> Array:
        """The air [°C] each probe would read in the frame that ends at `end_s`, given what it
        read, the air at its shelf, and which of the probes are taken to be on their bags."""
        params = self._params
        index = self._index(probes)
        at_s, slow_c, still_c = self._table[:, index]
        step_s = end_s - at_s
        anew = ~(step_s <= params.forget_s)
        gone = np.where(anew, 1.0, -np.expm1(-step_s / params.slow_s))
        slow_c += (value_c - slow_c) * gone
        still_c += (air_c - still_c) * gone
        self._table[:, index] = np.full(len(index), end_s), slow_c, still_c
        swing_k = (value_c - slow_c).clip(-params.most_k, params.most_k)
        told = sound & ~anew
        count = int(told.sum())
        if count < 2:
            return np.asarray(still_c)
        # no probe tells of the air by its own reading
        others_k = swing_k[told].sum() - np.where(told, swing_k, 0.0)
        shared_k = others_k / (count - told)
        self._learn(float(step_s[told].max()), swing_k[told])
        signal = max(0.0, 1.0 - self._noise_var / max(self._swing_var, 1e-9))
        return np.asarray(still_c + params.over_bags * signal * shared_k)

    def _learn(self, step_s: float, swing_k: Array) -> None:
        """Move the two variances by the swings of sound probes in this frame."""
        gone = -np.expm1(-step_s / self._params.memory_s)
        self._swing_var += (float(swing_k.mean()) ** 2 - self._swing_var) * gone
        noise_var = float(swing_k.var(ddof=1)) / len(swing_k)
        self._noise_var += (noise_var - self._noise_var) * gone

    def _index(self, probes: Sequence[str]) -> NDArray[np.intp]:
        """The column of each probe; those met for the first time get one."""
        index = self._slots.index(probes)
        if new := len(self._slots) - self._table.shape[1]:
            blank = np.full((3, new), np.nan)
            blank[1:] = 0.0
            self._table = np.concatenate([self._table, blank], axis=1)
        return index

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "swing_var": self._swing_var,
            "noise_var": self._noise_var,
            "probes": {
                probe: self._table[:, place].tolist() for place, probe in enumerate(self._slots)
            },
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._swing_var, self._noise_var = state["swing_var"], state["noise_var"]
        self._slots, self._table = Slots(), np.zeros((3, 0))
        probes: Mapping[str, Sequence[float]] = state["probes"]
        for place, numbers in zip(self._index(list(probes)), probes.values(), strict=True):
            self._table[:, place] = numbers
