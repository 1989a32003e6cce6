"""What a room's bags teach about the room: what all of them share, and how noisy they are.

Thermostat, set-back, door and an infrared thermometer's drift move every bag of a room at
once. What is left of each bag after its own fit is medianed over the room: half of the bags
may do anything. Slow parts are put back, since they are heat or nothing; by hand they are the
thermometer's as far as every lot has them (`common_drift`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Standard deviation of normal values over their median absolute deviation.
SD_PER_MAD = 1.4826
#: Fewest bags whose median is taken for something the room shares.
FEWEST_SHARING = 3
#: Fewest rows in which a lot must have been read before its drift is followed.
FEWEST_DRIFTING = 3
#: Rows so far from a lot's own that they weigh less than this together say nothing of its drift.
FAINT = 0.05


def shared_course(left: Array, hours: Array, noise_k: float, slow_h: float) -> Array:
    """What the room's bags share in each row [K], from what their fits leave.

    `left` (rows, bags) [K] with NaN where there is no reading; `noise_k` one reading's noise;
    parts slower than about `slow_h` are left out. The median's variance is π/2 of the mean's.
    """
    present = np.isfinite(left)
    count = present.sum(axis=1)
    middle = np.where(count >= FEWEST_SHARING, row_medians(left, count), 0.0)
    spread = max(typical(middle), noise_k, 0.1)
    error = 0.5 * np.pi * noise_k**2 / np.maximum(count, 1)
    middle *= spread**2 / (spread**2 + error)
    weight = _near(hours, slow_h)
    weight /= weight.sum(axis=1, keepdims=True)
    return np.asarray(middle - weight @ middle)


def common_drift(
    left: Array, hours: Array, lots: Sequence[Sequence[int]], slow_h: float, most_k: float
) -> Array:
    """The slow part of what the fits leave that every lot of the room has [K]: the least of the
    lots' where all of them have it the same way, else nothing; `most_k` at most.

    `left` as `shared_course` has it; `lots` the columns of each. One lot alone tells nothing: it
    may have gone bad as a whole. Several do not by as much at the same time, but those of one
    session warm up together, and a fit that lags behind must not lose their heat for good.
    """
    near = _near(hours, slow_h)
    parts = []
    for columns in lots:
        own = left[:, columns]
        count = np.isfinite(own).sum(axis=1)
        read = count >= FEWEST_SHARING
        if np.count_nonzero(read) < FEWEST_DRIFTING:
            continue
        weight = near * read
        weight /= np.maximum(weight.sum(axis=1, keepdims=True), FAINT)
        parts.append(weight @ np.where(read, row_medians(own, count), 0.0))
    if len(parts) < 2:
        return np.zeros(len(hours))
    slow = np.array(parts)
    same = (slow > 0.0).all(axis=0) | (slow < 0.0).all(axis=0)
    least = np.minimum(np.abs(slow).min(axis=0), most_k)
    return np.asarray(np.where(same, np.sign(slow[0]) * least, 0.0))


def typical(values: Array) -> float:
    """Standard deviation of values about 0, told by their median as if they were normal."""
    return SD_PER_MAD * float(np.median(np.abs(values)))


def _near(hours: Array, slow_h: float) -> Array:
    """How much each row (columns) counts for the slow part about another (rows)."""
    return np.asarray(np.exp(-0.5 * ((hours[:, None] - hours) / slow_h) ** 2))


def row_medians(values: Array, count: NDArray[np.int_]) -> Array:
    """Median of each row's `count` finite values; 0 for a row without any."""
    if not values.size:
        return np.zeros(len(values))
    ordered = np.sort(values, axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum(count - 1, 0) // 2]
    high = ordered[rows, np.minimum(count // 2, values.shape[1] - 1)]
    return np.where(count > 0, 0.5 * (low + high), 0.0)


#: Median of the square of a standard normal variable.
MEDIAN_SQUARE = 0.4549


def noise_factor(surprises: Array, known: float) -> float:
    """How many times larger the noise is than the looks took it to be.

    `surprises` (bags, onsets): standard normal if the noise was right, NaN where there is
    nothing. Their median square over all bags is what the noise should be judged by: it is
    made of the very shapes the judge looks for, and half of the bags may have added heat
    (the genomic control of Devlin and Roeder 1999). A factor of 1 weighs as `known` bags.
    """
    bags = int(np.isfinite(surprises).any(axis=1).sum())
    if not bags:
        return 1.0
    inflation = float(np.nanmedian(surprises**2)) / MEDIAN_SQUARE
    return float(np.sqrt((known + bags * inflation) / (known + bags)))
