"""What a room's bags teach about the room: what all of them share, and how noisy they are.

Thermostat, set-back, door and an infrared thermometer's drift move every bag of a room at
once. What is left of each bag after its own fit is medianed over the room: half of the bags
may do anything. Slow parts are put back, since they are heat or nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.judge.filters import Noise, whitener

Array = NDArray[np.float64]

#: Fewest bags whose median is taken for something the room shares.
FEWEST_SHARING = 3


def shared_course(left: Array, hours: Array, noise_k: float, slow_h: float) -> Array:
    """What the room's bags share in each row [K], from what their fits leave.

    `left` (rows, bags) [K] with NaN where there is no reading; `noise_k` one reading's noise;
    parts slower than about `slow_h` are left out. The median's variance is π/2 of the mean's.
    """
    present = np.isfinite(left)
    count = present.sum(axis=1)
    middle = np.where(count >= FEWEST_SHARING, row_medians(left, count), 0.0)
    spread = max(float(np.median(np.abs(middle))) * 1.4826, noise_k, 0.1)
    error = 0.5 * np.pi * noise_k**2 / np.maximum(count, 1)
    middle *= spread**2 / (spread**2 + error)
    weight = np.exp(-0.5 * ((hours[:, None] - hours) / slow_h) ** 2)
    weight /= weight.sum(axis=1, keepdims=True)
    return np.asarray(middle - weight @ middle)


def row_medians(values: Array, count: NDArray[np.int_]) -> Array:
    """Median of each row's `count` finite values; 0 for a row without any."""
    if not values.size:
        return np.zeros(len(values))
    ordered = np.sort(values, axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum(count - 1, 0) // 2]
    high = ordered[rows, np.minimum(count // 2, values.shape[1] - 1)]
    return np.where(count > 0, 0.5 * (low + high), 0.0)


def noise_scale(left: Array, hours: Array, noise: Noise, spent: float, known: float) -> float:
    """How many times noisier than `noise` the typical bag is, from what the fits leave.

    The median over bags of the mean squared innovation, `spent` degrees of freedom per bag
    taken off; the prior scale 1 weighs as `known` bags. Never below 1: `noise` is also what
    the curve's shape may be wrong by, which a good fit hides.
    """
    squares = []
    for column in left.T:
        rows = np.flatnonzero(np.isfinite(column))
        if len(rows) > 2.0 * spent + 4.0:
            innovations = whitener(hours[rows], noise) @ column[rows]
            squares.append(float(innovations @ innovations) / (len(rows) - spent))
    if not squares:
        return 1.0
    count = len(squares)
    pooled = (known + count * float(np.median(squares))) / (known + count)
    return max(1.0, float(np.sqrt(pooled)))
