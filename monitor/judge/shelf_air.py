"""How much sooner than its cohort a bag on a warm shelf runs.

Mycelium grows faster the warmer it stands, so the top shelf of a room peaks hours before the
bottom one with nothing wrong in either.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Share by which a run is shorter for each kelvin of its air, a Q10 of 1.6: less than growth on
#: plates has (about 2, from memory), as a bag warms itself. Regressed within cohorts, 0.04 in the
#: practice rooms and 0.06 in made-up ones, each within 0.01.
SOONER_PER_K = 0.05
#: A shelf's air explains no more than this [h].
MOST_LEAD_H = 16.0


class ShelfAir:
    """The mean air that each bag of a room has stood in [°C]."""

    def __init__(self) -> None:
        self._mean: dict[str, list[float]] = {}

    def take(self, air_c: Mapping[str, float]) -> None:
        """Add a frame: the air at each bag [°C]."""
        for bag, at_bag_c in air_c.items():
            mean = self._mean.setdefault(bag, [0.0, 0.0])
            mean[1] += 1.0
            mean[0] += (at_bag_c - mean[0]) / mean[1]

    def keep(self, bags: Container[str]) -> None:
        """Forget all bags but these."""
        self._mean = {bag: mean for bag, mean in self._mean.items() if bag in bags}

    def lead_h(self, members: Sequence[str], peak_h: float) -> Array:
        """How much sooner than the middle of its cohort each member should peak [h].

        `peak_h` the cohort's peak age [h]. A bag whose air was never read is like the middle.
        """
        air_c = np.array([self._mean[bag][0] if bag in self._mean else np.nan for bag in members])
        known = np.isfinite(air_c)
        if not known.any():
            return np.zeros(len(members))
        warmer_k = np.where(known, air_c - np.median(air_c[known]), 0.0)
        return np.clip(SOONER_PER_K * peak_h * warmer_k, -MOST_LEAD_H, MOST_LEAD_H)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {bag: list(mean) for bag, mean in self._mean.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._mean = {bag: [float(one) for one in mean] for bag, mean in state.items()}
