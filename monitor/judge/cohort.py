"""What a bag's cohort, without the bag itself, expects of the bag.

Bags of a cohort share a time constant and scatter in peak age and strength. Each bag's
likelihood over the curve grid is spread by that scatter and multiplied into a posterior for
the cohort. No bag can pull the posterior by more than `pull` nats: half of a cohort may be
contaminated and the healthy half, which agrees, still decides (a bounded influence in the
sense of Hampel 1974). Leaving a bag out is exact: its factor is taken away.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monitor.judge.curve import Grid
from monitor.judge.strain import HeatPrior

Array = NDArray[np.float64]

#: Strengths a cohort may have: surface warmth at the peak [K].
STRENGTHS_K: Array = 0.15 * 1.17 ** np.arange(24, dtype=np.float64)


@dataclass(frozen=True)
class Spread:
    """How healthy bags of one cohort differ (1 sd).

    `offset_k` constant warmth of slot and probe [K]; `lead_h` peak age [h]; `strength` share
    of the peak; `rise` share of the time constant; `plateau` maintenance heat as a share of
    the peak; `keep` its mean. A share `wild` of healthy bags peaks earlier or later by
    `wild_lead_h`, and as many are strong: `wild_mean` times their cohort, give or take
    `wild_strength`.
    """

    offset_k: float = 0.35
    lead_h: float = 8.0
    strength: float = 0.12
    rise: float = 0.05
    plateau: float = 0.05
    keep: float = 0.22
    wild: float = 0.03
    wild_lead_h: float = 12.0
    wild_mean: float = 1.4
    wild_strength: float = 0.25


@dataclass(frozen=True)
class Likelihood:
    """Per bag and grid point: precision and right-hand side of the strength, and the rest."""

    precision: Array
    right: Array
    rest: Array

    def with_bags(self, bags: NDArray[np.intp], other: Likelihood) -> Likelihood:
        """The same with `bags` as `other` has them."""
        mine = (self.precision.copy(), self.right.copy(), self.rest.copy())
        for own, theirs in zip(mine, (other.precision, other.right, other.rest), strict=True):
            own[bags] = theirs[bags]
        return Likelihood(*mine)


@dataclass(frozen=True)
class Expected:
    """What the others expect of each bag: grid weights, mean and variance of its strength
    [K, K²], and of a strong bag's, each (bags, grid); the cohort's own posterior (grid,
    strengths)."""

    weight: Array
    mean: Array
    variance: Array
    wild_mean: Array
    wild_variance: Array
    cohort: Array


@dataclass(frozen=True)
class Scatter:
    """Chances that a bag peaks at one grid point if its cohort peaks at another.

    Only within one time constant: `blocks` are (first, last + 1, matrices (bags, cohort's point,
    bag's point)); one matrix does for all bags where none is expected apart.
    """

    blocks: tuple[tuple[int, int, Array], ...]

    def to_cohort(self, by_bag: Array) -> Array:
        """Likelihoods by the bag's point (bags, grid, n) into those by the cohort's."""
        return np.concatenate([matrix @ by_bag[:, a:b] for a, b, matrix in self.blocks], axis=1)

    def to_bag(self, by_cohort: Array) -> Array:
        """Weights by the cohort's point (bags, grid, n) into those by the bag's."""
        return np.concatenate(
            [matrix.swapaxes(1, 2) @ by_cohort[:, a:b] for a, b, matrix in self.blocks], axis=1
        )


def scatter(grid: Grid, spread: Spread, lead_h: Array | None = None) -> Scatter:
    """The scatter of peak ages on `grid`, whose points lie by time constant, then peak age.

    `lead_h` (bags) how much earlier than its cohort each bag is expected to peak [h].
    """
    lead = np.zeros((1, 1, 1)) if lead_h is None else lead_h[:, None, None]
    edges = np.flatnonzero(np.diff(grid.rise_h, prepend=-1.0, append=-1.0))
    blocks = []
    for first, last in pairwise(edges.tolist()):
        peak_h = grid.peak_h[first:last]
        apart = (peak_h[:, None] - peak_h - lead) ** 2
        usual = np.exp(-0.5 * apart / spread.lead_h**2)
        wild = np.exp(-0.5 * apart / spread.wild_lead_h**2)
        usual /= usual.sum(axis=2, keepdims=True) + 1e-300
        wild /= wild.sum(axis=2, keepdims=True) + 1e-300
        blocks.append((first, last, (1.0 - spread.wild) * usual + spread.wild * wild))
    return Scatter(tuple(blocks))


def log_prior(grid: Grid, prior: HeatPrior, strengths_k: Array) -> Array:
    """Log prior of a cohort's peak age, time constant and strength: (grid, strengths).

    What is known of the time constant is its share of the peak's age: what peaks late rises
    slowly, and a slow late hump is no account of a quick early one and of heat added to it.
    """
    age = -0.5 * ((grid.peak_h - prior.peak_h) / prior.peak_h_sd) ** 2
    share = (grid.rise_h / grid.peak_h) / (prior.rise_h / prior.peak_h)
    rise = -0.5 * (np.log(share) / (prior.rise_h_sd / prior.rise_h)) ** 2
    width = max(prior.peak_k_sd / prior.peak_k, 0.1)
    strength = -0.5 * (np.log(strengths_k / prior.peak_k) / width) ** 2
    return np.asarray((age + rise)[:, None] + strength)


def expect(
    likelihood: Likelihood,
    near: Scatter,
    prior: Array,
    strengths_k: Array,
    spread: Spread,
    pull: float,
) -> Expected:
    """Leave-one-out expectations; bags without readings (precision 0) pull nothing."""
    variance = (spread.strength * strengths_k) ** 2
    precision = likelihood.precision[..., None]
    right = likelihood.right[..., None]
    fit = (right + strengths_k / variance) ** 2
    fit /= precision + 1.0 / variance
    fit -= np.log1p(precision * variance)
    fit -= strengths_k**2 / variance
    fit *= 0.5
    fit += likelihood.rest[..., None]
    share = near.to_cohort(_from_highest(fit))
    share /= share.max(axis=(1, 2), keepdims=True)
    share += np.exp(-pull)
    factor = np.log(share, out=share)
    total = prior + factor.sum(axis=0)
    posterior = _from_highest(total - factor)
    posterior /= posterior.sum(axis=(1, 2), keepdims=True)
    joint = near.to_bag(posterior)
    weight = joint.sum(axis=2) + 1e-300
    mean = (joint @ strengths_k) / weight
    square = (joint @ strengths_k**2) / weight
    cohort = np.exp(total - total.max())
    return Expected(
        weight,
        mean,
        np.maximum(square * (1.0 + spread.strength**2) - mean**2, 1e-4),
        spread.wild_mean * mean,
        np.maximum(
            square * (spread.wild_mean**2 + spread.wild_strength**2)
            - (spread.wild_mean * mean) ** 2,
            1e-4,
        ),
        cohort / cohort.sum(),
    )


def _from_highest(logs: Array) -> Array:
    """exp of `logs` (bags, grid, strengths) beneath each bag's highest, in their place."""
    logs -= logs.max(axis=(1, 2), keepdims=True)
    return np.exp(logs, out=logs)
