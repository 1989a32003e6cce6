"""A strain's heat curve, learned from finished runs and fitted to a batch under way.

A curve is five numbers on scales where their errors are even: log peak [W/kg], log age at the
peak [h], log rise [h], logit of the kept share, and log of full run's age over the age at
which growth heat is back to a tenth of its peak.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.judge.strain import Strain
from monitor.thermal.bag import Z80, describe_bag
from monitor.thermal.growth import curve

Array = NDArray[np.float64]

PEAK, AGE, RISE, KEEP, FULL = range(5)
#: Bag for which the settings' surface warmth is said.
_SAID_FOR_KG = 2.3
#: 4x(1 - x) is a tenth of its greatest value at x = 0.9743: this many rises after the half.
OVER_IN_RISES = math.log(0.5 + math.sqrt(0.225)) - math.log(0.5 - math.sqrt(0.225))
#: Spread between batches of one strain in rooms a degree or two apart, before any was seen;
#: worth _BATCHES_KNOWN batches. Guessed, and borne out by the demo's rooms.
_BETWEEN = np.array([0.18, 0.12, 0.15, 0.4, 0.08])
_BATCHES_KNOWN = 4.0
#: How far a batch's median of six hours is off its curve, as a share of the peak. Errors last
#: for about a day, so four in a row count as one: doubled.
_ERROR_SHARE = 2.0 * 0.09
_LEAST_ERROR_W_PER_KG = 2.0 * 0.03
#: How well a day of full run is known that somebody wrote down, as a share of the age.
_NOTED_SPREAD = 0.06


@dataclass(frozen=True)
class Curves:
    """What to expect of a batch: mean and covariance of the five numbers; `runs` behind it."""

    mean: Array
    covariance: Array
    runs: int = 0

    def draws(self, count: int, seed: int = 0) -> Array:
        """(count, 5) curves, the same each time."""
        rng = np.random.default_rng(seed)
        return rng.multivariate_normal(self.mean, self.covariance, count, method="cholesky")


@dataclass(frozen=True)
class Run:
    """Ages [h] and heat [W/kg] of one batch, and its age at full run where it was noted."""

    ages_h: Array
    heat_w_per_kg: Array
    full_run_h: float | None = None


def expected_of(strain: Strain) -> Curves:
    """What settings say of a strain, before any of its runs."""
    prior = strain.prior
    loss_w_per_k = describe_bag(_SAID_FOR_KG).loss_w_per_k
    over_h = _over_h(prior.peak_h, prior.rise_h, prior.keep)
    shortest_d, longest_d = strain.run_days
    keep = min(max(prior.keep, 0.02), 0.9)
    mean = [
        math.log(prior.peak_k * loss_w_per_k / _SAID_FOR_KG),
        math.log(prior.peak_h),
        math.log(prior.rise_h),
        math.log(keep / (1 - keep)),
        math.log(24.0 * math.sqrt(shortest_d * longest_d) / over_h),
    ]
    spread = [
        prior.peak_k_sd / prior.peak_k,
        prior.peak_h_sd / prior.peak_h,
        prior.rise_h_sd / prior.rise_h,
        prior.keep_sd / (keep * (1 - keep)),
        max(math.log(longest_d / shortest_d) / (2 * Z80), 0.02),
    ]
    return Curves(np.array(mean), np.diag(np.minimum(spread, 1.0) ** 2))


def mixed(parents: Sequence[Curves]) -> Curves:
    """What to expect of a hybrid: any parent's alike, so wide where they differ.

    Source  mean and covariance of an equal mixture, law of total variance
    """
    means = np.array([one.mean for one in parents])
    middle = means.mean(axis=0)
    apart = means - middle
    inside = np.mean([one.covariance for one in parents], axis=0)
    return Curves(middle, inside + apart.T @ apart / len(parents))


def heat_w_per_kg(curves: Array, ages_h: Array) -> Array:
    """(curves, ages) of heat [W/kg]; before inoculation there is none."""
    peak, age, rise = np.exp(curves[:, PEAK : RISE + 1]).T[:, :, None]
    keep = 1.0 / (1.0 + np.exp(-curves[:, KEEP, None]))
    ages = np.atleast_2d(ages_h)
    return np.where(ages < 0, 0.0, curve(ages, peak, age, rise, keep))


def heat_over_h(curves: Array) -> Array:
    """Age at which growth heat is back to a tenth of its peak [h]."""
    keep = 1.0 / (1.0 + np.exp(-curves[:, KEEP]))
    peak_h, rise_h = np.exp(curves[:, AGE]), np.exp(curves[:, RISE])
    return np.asarray(peak_h + 0.5 * rise_h * np.log1p(-keep) + OVER_IN_RISES * rise_h)


def full_run_h(curves: Array) -> Array:
    """Age at full run [h]."""
    return heat_over_h(curves) * np.exp(curves[:, FULL])


def _over_h(peak_h: float, rise_h: float, keep: float) -> float:
    return peak_h + 0.5 * rise_h * math.log1p(-min(keep, 0.9)) + OVER_IN_RISES * rise_h


def fit(expected: Curves, run: Run) -> Curves:
    """A batch's curve after its readings: least squares with what was expected as a reading.

    Source  Gauss-Newton on the posterior, its spread from the curvature at the top (Laplace)
    """
    from scipy.optimize import least_squares  # noqa: PLC0415

    error = math.hypot(_LEAST_ERROR_W_PER_KG, _ERROR_SHARE * math.exp(expected.mean[PEAK]))
    root = np.linalg.cholesky(np.linalg.inv(expected.covariance)).T

    def residuals(curves: Array) -> Array:
        one = curves[None, :]
        parts = [root @ (curves - expected.mean)]
        parts.append((heat_w_per_kg(one, run.ages_h)[0] - run.heat_w_per_kg) / error)
        if run.full_run_h is not None:
            said = math.log(run.full_run_h)
            parts.append((np.log(full_run_h(one)) - said) / _NOTED_SPREAD)
        return np.concatenate(parts)

    done = least_squares(residuals, expected.mean, method="trf", max_nfev=60)
    covariance = np.linalg.inv(done.jac.T @ done.jac)
    return Curves(np.asarray(done.x), 0.5 * (covariance + covariance.T), expected.runs)


def learned(expected: Curves, runs: Sequence[Run]) -> Curves:
    """What to expect of a strain's next batch after finished runs.

    The strain's own mean is drawn from what was expected to the mean of its runs by how well
    each is known; runs differ between each other by what they show, held to the usual spread
    as if four runs more had shown it. Source  normal hierarchical model, empirical Bayes
    """
    if not runs:
        return expected
    # Each run is fitted with a wide expectation, lest the same be counted with every one.
    wide = Curves(expected.mean, expected.covariance + np.diag(np.full(5, 1.0)))
    fits = [fit(wide, run) for run in runs]
    means = np.array([one.mean for one in fits])
    variances = np.array([np.diag(one.covariance) for one in fits])
    apart = (means - means.mean(axis=0)) ** 2 - variances
    between = (_BATCHES_KNOWN * _BETWEEN**2 + np.maximum(apart, 0.0).sum(axis=0)) / (
        _BATCHES_KNOWN + len(runs) - 1
    )
    before = np.diag(expected.covariance)
    weights = 1.0 / (variances + between)
    precision = 1.0 / before + weights.sum(axis=0)
    mean = (expected.mean / before + (weights * means).sum(axis=0)) / precision
    return Curves(mean, np.diag(1.0 / precision + between), len(runs))


def is_finished(expected: Curves, run: Run) -> bool:
    """Whether a run's readings reach past its heat: full run noted, or growth heat nearly over."""
    if len(run.ages_h) < 8:
        return False
    own = fit(expected, run).mean[None, :]
    reach_h = float(run.ages_h.max())
    return reach_h >= float(np.exp(own[0, AGE]) + 2.0 * np.exp(own[0, RISE]))
