"""How noisy a room's readings are, by probe and by hand, learned from its own surprises.

What is set fits an ordinary room; where bags jump about more than that, or less, the looks'
amplitudes are wider or narrower than a standard normal, and the noise follows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.judge.filters import Noise
from monitor.judge.history import BY_HAND, BY_PROBE
from monitor.judge.params import JudgeParams
from monitor.judge.spread import noise_factor

Array = NDArray[np.float64]


class RoomNoise:
    """The noise of one room's readings, as learned so far."""

    def __init__(self, params: JudgeParams) -> None:
        self._params = params
        self._scale = {BY_PROBE: 1.0, BY_HAND: 1.0}
        self._surprises: dict[int, dict[str, list[float]]] = {BY_PROBE: {}, BY_HAND: {}}
        self._unlearned = 0

    def of(self, means: int) -> Noise:
        """The noise of readings by these means."""
        base = self._params.probe if means == BY_PROBE else self._params.hand
        scale = self._scale[means]
        return replace(base, wander_k=base.wander_k * scale, white_k=base.white_k * scale)

    def white(self, means: NDArray[np.int8], shared_k: Array) -> Array:
        """White noise [K] of readings by `means` (rows, bags); bags differ in what the room
        shares, `shared_k` (rows) [K]."""
        by_means = np.array([0.0, self.of(BY_PROBE).white_k, self.of(BY_HAND).white_k])
        return np.asarray(
            np.hypot(by_means[means], self._params.unlike * np.abs(shared_k)[:, None])
        )

    def surprised(self, means: int, bag: str, surprise: Array) -> None:
        """Keep how surprised the last look at a bag was, by onset."""
        self._surprises[means][bag] = surprise.tolist()

    def row_closed(self) -> None:
        """Count a row; every `learn_rows` the noise is corrected by the surprises of all bags."""
        self._unlearned += 1
        if self._unlearned >= self._params.learn_rows:
            self._unlearned = 0
            for means, surprises in self._surprises.items():
                if surprises:
                    self._learn(means, surprises)

    def _learn(self, means: int, surprises: Mapping[str, list[float]]) -> None:
        width = max(len(row) for row in surprises.values())
        table = np.full((len(surprises), width), np.nan)
        for place, row in enumerate(surprises.values()):
            table[place, : len(row)] = row
        factor = noise_factor(table, self._params.known_bags)
        least = self._params.least_scale_by_hand if means == BY_HAND else 1.0
        scale = self._scale[means] * factor**self._params.learning
        self._scale[means] = min(self._params.most_scale, max(least, scale))

    def forget(self, bag: str) -> None:
        """Drop a bag that left long ago."""
        for surprises in self._surprises.values():
            surprises.pop(bag, None)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "scale": [self._scale[BY_PROBE], self._scale[BY_HAND]],
            "surprises": [
                [means, {name: list(row) for name, row in rows.items()}]
                for means, rows in self._surprises.items()
            ],
            "unlearned": self._unlearned,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._scale = dict(zip((BY_PROBE, BY_HAND), state["scale"], strict=True))
        self._surprises = {
            means: {name: list(row) for name, row in rows.items()}
            for means, rows in state["surprises"]
        }
        self._unlearned = state["unlearned"]
