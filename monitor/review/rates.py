"""Shares of bags with their intervals, and what a group's losses say of its other bags."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist


def wilson(lost: int, total: int, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of a share from counts; (0, 1) of nothing.

    Source  Wilson 1927; Newcombe 1998's example 81 of 263: 0.2553 to 0.3662
    Raises  ValueError for counts that are none
    """
    if not 0 <= lost <= total:
        raise ValueError(f"{lost} of {total} is no share")
    if total == 0:
        return 0.0, 1.0
    z = NormalDist().inv_cdf(0.5 + confidence / 2.0)
    share = lost / total
    middle = share + z * z / (2 * total)
    half = z * math.sqrt(share * (1 - share) / total + z * z / (4 * total * total))
    scale = 1 + z * z / total
    low = 0.0 if lost == 0 else (middle - half) / scale
    high = 1.0 if lost == total else (middle + half) / scale
    return low, high


@dataclass(frozen=True, slots=True)
class Beta:
    """A beta distribution of a loss rate: as if `lost` and `sound` bags had been seen."""

    lost: float = 0.5
    sound: float = 0.5

    @property
    def mean(self) -> float:
        return self.lost / (self.lost + self.sound)

    def after(self, lost: int, sound: int) -> Beta:
        """What is known after seeing this many more."""
        return Beta(self.lost + lost, self.sound + sound)

    def interval(self, confidence: float = 0.80) -> tuple[float, float]:
        """The central interval of the rate."""
        from scipy.special import betaincinv  # noqa: PLC0415

        tail = (1.0 - confidence) / 2.0
        low, high = betaincinv(self.lost, self.sound, [tail, 1.0 - tail])
        return float(low), float(high)

    def among(self, count: int) -> list[float]:
        """Chance that 0, 1, … `count` of so many further bags are lost: beta-binomial."""
        return [math.exp(_log_chance(self, k, count)) for k in range(count + 1)]

    def among_interval(self, count: int, confidence: float = 0.80) -> tuple[int, int]:
        """How many of `count` further bags will be lost, a central interval."""
        tail = (1.0 - confidence) / 2.0
        sums, total = [], 0.0
        for chance in self.among(count):
            total += chance
            sums.append(total)
        low = next((k for k, reached in enumerate(sums) if reached > tail), count)
        high = next((k for k, reached in enumerate(sums) if reached >= 1.0 - tail), count)
        return low, high


def _log_chance(beta: Beta, lost: int, total: int) -> float:
    """Log of the beta-binomial chance of `lost` of `total` bags."""
    choose = math.lgamma(total + 1) - math.lgamma(lost + 1) - math.lgamma(total - lost + 1)
    both = math.lgamma(beta.lost + beta.sound)
    seen = math.lgamma(beta.lost + beta.sound + total)
    inside = math.lgamma(beta.lost + lost) - math.lgamma(beta.lost)
    outside = math.lgamma(beta.sound + total - lost) - math.lgamma(beta.sound)
    return choose + both - seen + inside + outside


#: Bags' worth of evidence a farm's earlier groups give for a new one, on a grid.
_WEIGHTS: Sequence[float] = tuple(2.0 * 1.25**step for step in range(24))


def between_groups(groups: Iterable[tuple[int, int]]) -> Beta:
    """How loss rates differ between groups (lots, loads): what to expect of one not met.

    groups   (lost, sound) of each
    Returns  the beta distribution whose mean is the pooled rate (with a bag of Jeffreys'
             prior) and whose weight, from 2 to 340 bags, makes the counts most likely
    Source   empirical Bayes with the beta-binomial (Griffiths 1973)
    """
    counts = [(lost, sound) for lost, sound in groups if lost + sound]
    lost = sum(one for one, _ in counts) + 0.5
    total = sum(one + other for one, other in counts) + 1.0
    mean = lost / total

    def likely(weight: float) -> float:
        beta = Beta(mean * weight, (1 - mean) * weight)
        return math.fsum(_log_chance(beta, k, k + rest) for k, rest in counts)

    best = max(_WEIGHTS, key=likely) if counts else 1.0
    return Beta(mean * best, (1 - mean) * best)
