"""Scalar Kalman filters: a slowly wandering level seen through white noise.

Readings of one bag are correlated for hours. Passing readings and regressors through the
same filter turns them into independent innovations of unit variance, which is all that a
likelihood needs (Kalman 1960; Durbin and Koopman 2012, chapter 2). Between readings the
level returns to zero as an Ornstein-Uhlenbeck process does, exactly for any gap.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Noise:
    """A wandering part of standard deviation `wander_k` [K] and correlation time `wander_h`
    [h], and a white part of standard deviation `white_k` [K] on each row."""

    wander_k: float = 0.06
    wander_h: float = 8.0
    white_k: float = 0.03


@dataclass(frozen=True)
class Filtered:
    """Innovations over their standard deviations, and the variances themselves."""

    innovations: Array
    variances: Array
    level: Array
    level_variance: float

    @property
    def log_likelihood(self) -> Array:
        """Gaussian log likelihood of each column."""
        constant = np.log(2.0 * np.pi * self.variances).sum()
        total: Array = -0.5 * (constant + (self.innovations**2).sum(axis=0))
        return total


def filter_level(
    columns: Array,
    persistence: Array,
    process_variance: Array,
    noise_variance: Array,
    level_variance: float,
) -> Filtered:
    """Run the scalar filter down each column of `columns` (rows, columns).

    Before row t the level is multiplied by `persistence[t]` and gains `process_variance[t]`;
    the first row's step starts from a level of zero with `level_variance`. All variances
    >= 0 and `noise_variance` + `level_variance` > 0. A local level model has persistence 1.
    """
    rows = len(columns)
    level = np.zeros(columns.shape[1:])
    variance = float(level_variance)
    innovations = np.empty_like(columns, dtype=np.float64)
    variances = np.empty(rows)
    for row in range(rows):
        level = persistence[row] * level
        variance = float(persistence[row] ** 2 * variance + process_variance[row])
        total = variance + float(noise_variance[row])
        surprise = columns[row] - level
        gain = variance / total
        level = level + gain * surprise
        variance *= 1.0 - gain
        innovations[row] = surprise / np.sqrt(total)
        variances[row] = total
    return Filtered(innovations, variances, level, variance)


def whitener(hours: Array, noise: Noise, white_k: Array | None = None) -> Array:
    """The matrix that turns readings at `hours` [h, increasing] into innovations.

    `white_k` (rows) takes the place of `noise.white_k` where rows differ [K]. The result is
    lower triangular, (rows, rows): the inverse Cholesky factor of the noise's covariance,
    found by filtering the unit vectors.
    """
    white = np.full(len(hours), noise.white_k) if white_k is None else white_k
    return _whitener(hours.tobytes(), np.asarray(white, dtype=np.float64).tobytes(), noise)


@lru_cache(maxsize=24)
def _whitener(hours_bytes: bytes, white_bytes: bytes, noise: Noise) -> Array:
    hours, white = np.frombuffer(hours_bytes), np.frombuffer(white_bytes)
    gaps = np.diff(hours, prepend=hours[:1])
    persistence = np.exp(-gaps / noise.wander_h)
    spread = noise.wander_k**2
    done = filter_level(
        np.eye(len(hours)),
        persistence,
        spread * (1.0 - persistence**2),
        white**2,
        spread,
    )
    done.innovations.setflags(write=False)
    return done.innovations
