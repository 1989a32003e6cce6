"""Is there added heat in a bag, or heat that got lost? Mixture Bayes factors.

The healthy bag follows its cohort's curve with a strength and a lead of its own; the
alternative adds one more heat that set in at an unknown moment. Everything linear is
integrated out exactly, the rest is summed over a grid. The ratio of the two likelihoods is
a nonnegative martingale under the healthy model, so the chance that a healthy bag's ratio
ever reaches 1/a is at most a (Ville's inequality; Ramdas, Grünwald, Vovk, Shafer 2023,
arXiv 2210.01948): a budget of false calls is a threshold.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from monitor.judge.cohort import Expected, Likelihood
from monitor.judge.likelihood import Precision

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Healthy:
    """Bags under the healthy model, each entry one grid point with usual or great strength.

    `point` (bags, entries) the grid point; `log_weight`, and `precision` and `right` of the
    strength with its prior, of the same shape; `log_total` (bags) the evidence; `grid` how
    many points there are.
    """

    point: NDArray[np.intp]
    log_weight: Array
    precision: Array
    right: Array
    log_total: Array
    grid: int

    @cached_property
    def share(self) -> Array:
        """Posterior share of each entry."""
        share = np.exp(self.log_weight - self.log_weight.max(axis=1, keepdims=True))
        return np.asarray(share / share.sum(axis=1, keepdims=True))

    def of(self, bags: NDArray[np.intp]) -> Healthy:
        """Only some of the bags."""
        return Healthy(
            self.point[bags],
            self.log_weight[bags],
            self.precision[bags],
            self.right[bags],
            self.log_total[bags],
            self.grid,
        )

    def mean(self, by_point: Array) -> Array:
        """What a value of each grid point (grid) is expected to be for each bag (bags)."""
        return np.asarray((self.share * by_point[self.point]).sum(axis=1))

    def level_sd_k(self, height: Array) -> Array:
        """How far a bag's warmth is unknown where each grid point's curve stands at `height`
        (grid): by the bag's strength, and by which point is its own (bags) [K]."""
        share, at = self.share, height[self.point]
        level = at * self.right / self.precision
        mean = (share * level).sum(axis=1)
        square = (share * (level**2 + at**2 / self.precision)).sum(axis=1)
        return np.asarray(np.sqrt(np.maximum(square - mean**2, 0.0)))

    def onto_grid(self, values: Array) -> Array:
        """Values by entry (bags, entries, ...) summed by grid point (bags, grid, ...)."""
        summed = np.zeros((len(values), self.grid, *values.shape[2:]))
        np.add.at(summed, (np.arange(len(values))[:, None], self.point), values)
        return summed


@dataclass(frozen=True)
class Amplitude:
    """What is believed of one more heat's amplitude before it is seen: normal, of which only what
    lies above 0 counts (`mean` 0: half-normal)."""

    mean: float
    sd: float

    @property
    def log_norm(self) -> float:
        """What makes it a density, of exp(a mean / sd² - a² / 2 sd²) / sd: a half-normal's is ½."""
        z = self.mean / self.sd
        return 0.5 * z * z + float(log_normal_cdf(np.array(z)))

    def seen(self, right: Array, precision: Array) -> tuple[Array, Array]:
        """The same after readings of this right-hand side and precision: its mean over its standard
        deviation, and the inverse of that."""
        root = np.sqrt(precision + self.sd**-2)
        return (right + self.mean * self.sd**-2) / root, root


@dataclass(frozen=True)
class Onsets:
    """Bags with one more heat: log Bayes factors (bags), the posterior share of each entry
    and onset (bags, entries, onsets) and its expected amplitude (same shape); `surprise`
    (bags, onsets) the amplitude over its standard deviation if any sign were allowed."""

    log_factor: Array
    surprise: Array
    share: Array
    amplitude: Array

    @classmethod
    def none(cls, healthy: Healthy) -> Onsets:
        """No heat but what makes a bag healthy."""
        bags, entries = healthy.point.shape
        nothing = np.zeros((bags, entries, 0))
        return cls(np.full(bags, -np.inf), np.zeros((bags, 0)), nothing, nothing)


def point_shares(likelihood: Likelihood, expected: Expected, wild: float) -> Array:
    """Posterior share of each grid point (bags, grid) under the healthy model."""
    log_weight = _entries(likelihood, expected, wild)[0]
    share = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    by_point = share[:, : share.shape[1] // 2] + share[:, share.shape[1] // 2 :]
    return np.asarray(by_point / by_point.sum(axis=1, keepdims=True))


def _entries(
    likelihood: Likelihood, expected: Expected, wild: float
) -> tuple[Array, Array, Array, Array]:
    """Log weight, precision and right-hand side of the strength, and log prior of every grid
    point with usual, then with great strength: (bags, 2 grid) each."""
    parts = []
    log_expected = np.log(expected.weight)
    for mean, variance, chance in (
        (expected.mean, expected.variance, 1.0 - wild),
        (expected.wild_mean, expected.wild_variance, wild),
    ):
        precision = likelihood.precision + 1.0 / variance
        right = likelihood.right + mean / variance
        prior = log_expected + np.log(chance)
        log_weight = (
            likelihood.rest
            + prior
            - 0.5 * np.log(variance * precision)
            + 0.5 * (right**2 / precision - mean**2 / variance)
        )
        parts.append((log_weight, precision, right, prior))
    log_weight, precision, right, prior = (
        np.concatenate(part, axis=1) for part in zip(*parts, strict=True)
    )
    return log_weight, precision, right, prior


def weigh_healthy(likelihood: Likelihood, expected: Expected, wild: float, most: int) -> Healthy:
    """The healthy model's evidence, a share `wild` of the bags strong beyond it.

    All of it counts; only the `most` entries a bag that explain it best, with or without
    added heat, are kept for a closer look.
    """
    log_weight, precision, right, prior = _entries(likelihood, expected, wild)
    bags, entries = log_weight.shape
    grid = entries // 2
    most = min(most, entries)
    # With added heat the bag falls back to what is expected of it, so half go by the prior.
    worth = _greatest(log_weight, most // 2)
    np.put_along_axis(prior, worth, np.inf, axis=1)
    kept = _greatest(prior, most)
    rows = np.arange(bags)[:, None]
    return Healthy(
        kept % grid,
        log_weight[rows, kept],
        precision[rows, kept],
        right[rows, kept],
        log_sum(log_weight, 1),
        grid,
    )


def _greatest(values: Array, most: int) -> NDArray[np.intp]:
    """Where the `most` greatest values of each row stand, in order of place."""
    places = np.argpartition(values, -most, axis=1)[:, -most:]
    return np.sort(places, axis=1)


def weigh_onsets(
    healthy: Healthy,
    precision: Precision,
    onset_right: Array,
    prior: Amplitude,
    log_onset: Array,
    told_by: Amplitude | None = None,
) -> Onsets:
    """Evidence for one more heat of a positive amplitude.

    `onset_right` (bags, grid, onsets) from `likelihood.project`; `log_onset` (onsets) log
    prior of each onset; `told_by` the prior that the amplitude is told by, if not by `prior`: what
    tells best whether there is a heat pulls its size towards itself. `healthy` must be on the grid
    of `precision`.
    """
    right, own = _amplitudes(healthy, precision, onset_right)
    z, root = prior.seen(right, own)
    log_tail = log_normal_cdf(z)
    log_factor = 0.5 * z * z + log_tail - np.log(prior.sd * root) - prior.log_norm
    log_joint = healthy.log_weight[..., None] + log_factor + log_onset
    bags = len(log_joint)
    total = log_sum(log_joint.reshape(bags, -1), 1)
    share = np.exp(log_joint - total[:, None, None])
    free = right / np.sqrt(np.maximum(own, 1e-12))
    surprise = (healthy.share[..., None] * free).sum(axis=1)
    if told_by is not None:
        z, root = told_by.seen(right, own)
        log_tail = log_normal_cdf(z)
    hazard = np.exp(-0.5 * z * z - log_tail) / np.sqrt(2.0 * np.pi)
    return Onsets(total - healthy.log_total, surprise, share, (z + hazard) / root)


def weigh_steps(
    healthy: Healthy,
    precision: Precision,
    step_right: Array,
    size_sd: float,
    log_prior: float,
) -> tuple[Array, Array]:
    """Log odds (bags) of a step of either sign with a normal prior of width `size_sd` against the
    healthy model, and the posterior share of each moment (bags, moments).

    `step_right` as `weigh_onsets` has it; `log_prior` the log prior odds of each moment.
    """
    z, root = Amplitude(0.0, size_sd).seen(*_amplitudes(healthy, precision, step_right))
    log_factor = 0.5 * z**2 - np.log(size_sd * root)
    log_joint = healthy.log_weight[..., None] + log_factor + log_prior
    by_moment = log_sum(log_joint, 1)
    total = log_sum(by_moment, 1)
    return total - healthy.log_total, np.exp(by_moment - total[:, None])


def _amplitudes(healthy: Healthy, precision: Precision, right: Array) -> tuple[Array, Array]:
    """Right-hand side and precision of each entry's amplitudes, the strength integrated out:
    (bags, entries, amplitudes) each."""
    rows = np.arange(len(healthy.point))[:, None]
    cross = precision.cross[healthy.point]
    own = precision.onset[healthy.point] - cross**2 / healthy.precision[..., None]
    strength = (healthy.right / healthy.precision)[..., None]
    return right[rows, healthy.point] - cross * strength, own


def log_sum(values: Array, axis: int) -> Array:
    """log Σ exp without overflow."""
    top = values.max(axis=axis, keepdims=True)
    summed = np.log(np.exp(values - top).sum(axis=axis, keepdims=True)) + top
    return np.asarray(summed.squeeze(axis))


def log_normal_cdf(z: Array) -> Array:
    """log Φ(z) with a relative error of Φ below 1.2e-7 for any z: erfc(x) = t exp(−x² + P(t)),
    t = 2 / (2 + x) (Press and others, Numerical Recipes, 2nd edition, section 6.2)."""
    x = np.abs(z) / np.sqrt(2.0)
    t = 1.0 / (1.0 + 0.5 * x)
    poly = np.full_like(t, _ERFC[-1])
    for coefficient in _ERFC[-2::-1]:
        poly = poly * t + coefficient
    log_erfc = np.log(t) - x * x + poly
    lower = log_erfc - np.log(2.0)
    return np.asarray(np.where(z <= 0.0, lower, np.log1p(-np.exp(np.minimum(lower, -1e-12)))))


_ERFC = (
    -1.26551223,
    1.00002368,
    0.37409196,
    0.09678418,
    -0.18628806,
    0.27886807,
    -1.13520398,
    1.48851587,
    -0.82215223,
    0.17087277,
)


def needed_log_odds(false_per_100: float, prior_odds: float, margin: float) -> float:
    """Log odds that a call needs: Ville's bound for the budget, plus `margin` for what the
    healthy model leaves out, on the scale of posterior odds.

    `false_per_100` false calls accepted per 100 healthy bags and run, above 0 up to 100.
    """
    if not 0.0 < false_per_100 <= 100.0:
        raise ValueError(f"false_per_100 must be above 0 and at most 100, not {false_per_100}")
    return float(np.log(100.0 / false_per_100) + margin + np.log(prior_odds))
