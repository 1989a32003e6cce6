"""What most bags of a cohort do alike and no heat curve does: the strain's own shape.

The curve is a hump and a plateau. A strain whose heat stands at its height for two days, or comes
in two waves, leaves the fit of every bag in the same way at the same stage of its run, and each
would look like a bag with added heat. What one bag does and its mates do not is left alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.judge.looks import AlikeParams, Panel

Array = NDArray[np.float64]

#: Rows so far from a bag's own that they weigh less than this together say nothing.
FAINT = 0.2


def alike_k(panel: Panel, left: Array, peak_h: Array, params: AlikeParams) -> Array:
    """What the mates of each bag have alike at its stage of the run: (rows, bags) [K].

    `left` (rows, bags) [K] what the healthy fits leave of each reading, NaN where there is none;
    `peak_h` (bags) the age at which each peaks. What is read of a bag with added heat since that
    set in tells its mates nothing.
    """
    told = np.where(panel.hours[:, None] < panel.counts_until_h, left, np.nan)
    late_h = np.clip(peak_h - np.median(peak_h), -params.most_late_h, params.most_late_h)
    aligned = np.stack(
        [
            _smooth(panel.hours, told[:, bag], panel.hours + late_h[bag], params.smooth_h)
            for bag in range(left.shape[1])
        ],
        axis=1,
    )
    alike = np.zeros_like(left)
    for bag in range(left.shape[1]):
        mates = _least_alike(np.delete(aligned, bag, axis=1), params)
        alike[:, bag] = np.interp(panel.hours - late_h[bag], panel.hours, mates)
    return alike


def _smooth(hours: Array, values: Array, at_h: Array, smooth_h: float) -> Array:
    """The mean of the values about each moment; NaN where none is near."""
    read = np.isfinite(values)
    near = np.exp(-0.5 * ((at_h[:, None] - hours[read]) / smooth_h) ** 2)
    weight = near.sum(axis=1)
    return np.where(weight > FAINT, near @ values[read] / np.maximum(weight, FAINT), np.nan)


def _least_alike(values: Array, params: AlikeParams) -> Array:
    """The least by which all but a share `apart` of each row's values differ from zero the same
    way; zero where they do not, or where too few are told."""
    ordered = np.sort(values, axis=1)  # NaN comes last
    count = np.isfinite(values).sum(axis=1)
    rows, last = np.arange(len(values)), np.maximum(count - 1, 0)
    rank = (params.apart * last).astype(int)
    low, high = ordered[rows, rank], ordered[rows, last - rank]
    alike = np.where(low > 0.0, low, np.where(high < 0.0, high, 0.0))
    return np.where(count >= params.fewest, alike, 0.0)
