"""How noisy a room's readings are, by probe and by hand, learned from the room itself.

By probe from the looks' surprises: where bags jump about more than what is set, the looks'
amplitudes are wider than a standard normal, and the noise follows. By hand, where half a day
lies between two readings, from how far one walk's readings stray from the walk's before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.judge.filters import Noise
from monitor.judge.history import BY_HAND, BY_PROBE, History
from monitor.judge.params import JudgeParams
from monitor.judge.spread import noise_factor, typical

Array = NDArray[np.float64]
#: Readings further apart than this tell of the bag and no more of the thermometer [h].
NEXT_WALK_H = 30.0


class RoomNoise:
    """The noise of one room's readings, as learned so far."""

    def __init__(self, params: JudgeParams) -> None:
        self._params = params
        self._scale = 1.0
        self._by_hand_k = params.hand.white_k
        self._surprises: dict[str, list[float]] = {}
        self._unlearned = 0

    def of(self, means: int) -> Noise:
        """The noise of readings by these means."""
        if means == BY_HAND:
            return replace(self._params.hand, white_k=self._by_hand_k)
        base, scale = self._params.probe, self._scale
        return replace(base, wander_k=base.wander_k * scale, white_k=base.white_k * scale)

    def white(self, means: NDArray[np.int8], shared_k: Array) -> Array:
        """White noise [K] of readings by `means` (rows, bags); bags differ in what the room
        shares, `shared_k` (rows) [K]."""
        by_means = np.array([0.0, self.of(BY_PROBE).white_k, self.of(BY_HAND).white_k])
        return np.asarray(
            np.hypot(by_means[means], self._params.unlike * np.abs(shared_k)[:, None])
        )

    def surprised(self, bag: str, surprise: Array) -> None:
        """Keep how surprised the last look at a bag read by a probe was, by onset."""
        self._surprises[bag] = surprise.tolist()

    def row_closed(self, history: History, shared_k: Array) -> None:
        """Count a row; every `learn_rows` the noise of probes is corrected by the surprises of all
        bags. That by hand is told anew with each row."""
        self._unlearned += 1
        if self._unlearned >= self._params.learn_rows:
            self._unlearned = 0
            if self._surprises:
                self._learn()
        apart_k = between_walks_k(history, shared_k)
        known, set_k = self._params.known_by_hand, self._params.hand.white_k
        stray_k = max(self._params.least_by_hand_k, typical(apart_k)) if len(apart_k) else 0.0
        squares = known * set_k**2 + len(apart_k) * stray_k**2
        self._by_hand_k = float(np.sqrt(squares / (known + len(apart_k))))

    def _learn(self) -> None:
        width = max(len(row) for row in self._surprises.values())
        table = np.full((len(self._surprises), width), np.nan)
        for place, row in enumerate(self._surprises.values()):
            table[place, : len(row)] = row
        factor = noise_factor(table, self._params.known_bags)
        scale = self._scale * factor**self._params.learning
        self._scale = min(self._params.most_scale, max(1.0, scale))

    def forget(self, bag: str) -> None:
        """Drop a bag that left long ago."""
        self._surprises.pop(bag, None)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "scale": self._scale,
            "by_hand_k": self._by_hand_k,
            "surprises": {name: list(row) for name, row in self._surprises.items()},
            "unlearned": self._unlearned,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._scale, self._by_hand_k = state["scale"], state["by_hand_k"]
        self._surprises = {name: list(row) for name, row in state["surprises"].items()}
        self._unlearned = state["unlearned"]


def between_walks_k(history: History, shared_k: Array) -> Array:
    """How far each bag's reading by hand strays from the one of the walk before, what its fit and
    the room's share explain taken off, over √2: as wide as one reading's noise [K]."""
    by_hand = history.means == BY_HAND
    left = np.where(by_hand, history.excess - history.predicted - shared_k[:, None], np.nan)
    before, before_h = np.full((2, left.shape[1]), np.nan)
    found = [np.zeros(0)]
    for row in np.flatnonzero(by_hand.any(axis=1)):
        hour, read = history.hours[row], np.isfinite(left[row])
        near = read & (hour - before_h <= NEXT_WALK_H)
        found.append((left[row] - before)[near] / np.sqrt(2.0))
        before[read], before_h[read] = left[row, read], hour
    return np.concatenate(found)
