"""The heat curve of a healthy bag: a hump of growth and a plateau of maintenance.

Logistic colonisation x(a) gives growth heat in proportion to x(1 − x) and maintenance heat
in proportion to x (Mitchell and others on solid-state fermentation; the same form as
`thermal.growth`). The judge keeps the peak's age and the time constant on a grid and treats
what lies between two grid points as a linear correction, so that a coarse grid is exact
enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Columns of `shapes` for one grid point, in this order.
HEAT, LATER, WIDER, PLATEAU = range(4)


@dataclass(frozen=True)
class Grid:
    """Peak ages [h] and logistic time constants [h] that the judge considers, flattened."""

    peak_h: Array
    rise_h: Array
    peak_step_h: float
    rise_step: float

    @property
    def size(self) -> int:
        return len(self.peak_h)

    def subset(self, index: NDArray[np.intp]) -> Grid:
        """The same grid with only the points at `index`."""
        return Grid(self.peak_h[index], self.rise_h[index], self.peak_step_h, self.rise_step)


def make_grid(
    first_h: float = 24.0,
    last_h: float = 360.0,
    step_h: float = 4.0,
    rise_first_h: float = 5.0,
    rise_last_h: float = 40.0,
    rise_step: float = 1.22,
    most_share: float = 0.25,
) -> Grid:
    """Every peak age with every time constant that is plausible for it (0.05 to `most_share`)."""
    peaks = np.arange(first_h, last_h + 0.5 * step_h, step_h)
    count = int(np.log(rise_last_h / rise_first_h) / np.log(rise_step)) + 1
    rises = rise_first_h * rise_step ** np.arange(count)
    rise, peak = (axis.ravel() for axis in np.meshgrid(rises, peaks, indexing="ij"))
    keep = (rise > 0.05 * peak) & (rise < most_share * peak)
    return Grid(peak[keep], rise[keep], step_h, rise_step)


def colonised(age_h: Array, peak_h: Array | float, rise_h: Array | float) -> Array:
    """Share of the bag colonised, 0 to 1: 1 / (1 + exp(−(age − peak) / rise))."""
    z = np.clip((age_h - peak_h) / rise_h, -60.0, 60.0)
    return np.asarray(1.0 / (1.0 + np.exp(-z)))


def shapes(age_h: Array, grid: Grid, keep: float) -> Array:
    """The curve and its corrections at each age: (ages, grid points, 4).

    `HEAT` has height 1 at the peak and settles at `keep`; `LATER` is its derivative by the
    peak's age [1/h]; `WIDER` by the logarithm of the time constant; `PLATEAU` is x itself,
    a maintenance heat that differs from `keep`.
    """
    z = (age_h[:, None] - grid.peak_h) / grid.rise_h
    x = colonised(age_h[:, None], grid.peak_h, grid.rise_h)
    slope = x * (1.0 - x)
    heat = 4.0 * slope + keep * x
    by_z = 4.0 * slope * (1.0 - 2.0 * x) + keep * slope
    return np.stack([heat, -by_z / grid.rise_h, -by_z * z, x], axis=2)


def onset_steps(hours: Array, onset_h: Array, speed_h: float) -> Array:
    """Added heat that sets in: a logistic rise of time constant `speed_h` centred on each
    onset; shape (hours, onsets)."""
    return colonised(hours[:, None], onset_h, speed_h)
