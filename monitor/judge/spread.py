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
    middle = np.zeros(len(left))
    for row in np.flatnonzero(count >= FEWEST_SHARING):
        middle[row] = np.median(left[row, present[row]])
    spread = max(float(np.median(np.abs(middle))) * 1.4826, noise_k, 0.1)
    error = 0.5 * np.pi * noise_k**2 / np.maximum(count, 1)
    middle *= spread**2 / (spread**2 + error)
    weight = np.exp(-0.5 * ((hours[:, None] - hours) / slow_h) ** 2)
    weight /= weight.sum(axis=1, keepdims=True)
    return np.asarray(middle - weight @ middle)


def noise_scale(left: Array, hours: Array, noise: Noise, spent: float, known: float) -> float:
    """How many times noisier than `noise` the typical bag is, from what the fits leave.

    The median over bags of the mean squared innovation, `spent` degrees of freedom per bag
    taken off; the prior scale 1 weighs as `known` bags. One where there is too little.
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
    return float(np.sqrt((known + count * np.median(squares)) / (known + count)))
