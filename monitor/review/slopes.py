"""A robust slope with its interval: Theil and Sen's median of pairs, Kendall's S beside it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist, fmean, median

#: Pairs grow with the square: thin to means before it takes seconds on a small machine.
MOST_POINTS = 1000


@dataclass(frozen=True, slots=True)
class Slope:
    """`slope` of y by x with the ends of its interval, the `intercept`, and Kendall's `s` with
    its variance (ties of y taken out). `z` and `p` (two-sided) are Mann and Kendall's test."""

    slope: float
    intercept: float
    low: float
    high: float
    s: int
    var_s: float
    points: int

    @property
    def tau(self) -> float:
        """Kendall's tau-a: S over the number of pairs."""
        return self.s / (self.points * (self.points - 1) / 2)

    @property
    def z(self) -> float:
        """S one nearer to zero (continuity), over its standard deviation."""
        if not self.s or not self.var_s:
            return 0.0
        return (self.s - math.copysign(1, self.s)) / math.sqrt(self.var_s)

    @property
    def p(self) -> float:
        """Chance of so large an S without a trend, two-sided."""
        return math.erfc(abs(self.z) / math.sqrt(2.0))

    @property
    def sign(self) -> int:
        """1 or -1 where the whole interval is on one side of zero, else 0."""
        return (self.low > 0) - (self.high < 0)


def theil_sen(
    x: Sequence[float], y: Sequence[float], level: float = 0.95, inflation: float = 1.0
) -> Slope:
    """The median slope of all pairs of points, with Sen's interval.

    `x` must rise. `inflation` (1 or more) widens the variance of S where neighbours resemble
    each other, see `inflation_of`.

    Source  Theil 1950; Sen 1968, with the variance under ties of Kendall 1970
    Check   Helsel and Hirsch's seven points: 1.0 and 0; the Nile 1871 to 1970: S -1387,
            slope -2.6 (-3.628 to -1.429) a year
    Raises  ValueError under 3 points, over 1000, or where x does not rise
    """
    count = len(x)
    if not 3 <= count <= MOST_POINTS or count != len(y):
        raise ValueError(f"3 to {MOST_POINTS} points, x and y of one length, not {count}")
    if any(later <= earlier for earlier, later in pairwise(x)):
        raise ValueError("x must rise from point to point")
    slopes, s = [], 0
    for i in range(count - 1):
        for j in range(i + 1, count):
            rise = y[j] - y[i]
            s += (rise > 0) - (rise < 0)
            slopes.append(rise / (x[j] - x[i]))
    slopes.sort()
    middle = median(slopes)
    var_s = _variance(y) * inflation
    width = NormalDist().inv_cdf(0.5 + level / 2) * math.sqrt(var_s)
    pairs = len(slopes)
    low = max(round((pairs - width) / 2) - 1, 0)
    high = min(round((pairs + width) / 2), pairs - 1)
    return Slope(
        slope=middle,
        intercept=median(y) - middle * median(x),
        low=slopes[low],
        high=slopes[high],
        s=s,
        var_s=var_s,
        points=count,
    )


def _variance(y: Sequence[float]) -> float:
    """Variance of Kendall's S without a trend, ties of y taken out."""
    count = len(y)
    ties = sum(n * (n - 1) * (2 * n + 5) for n in Counter(y).values())
    return (count * (count - 1) * (2 * count + 5) - ties) / 18.0


def inflation_of(residuals: Sequence[float]) -> float:
    """By how much a first-order likeness of neighbours widens the variance of S; 1 or more.

    Source  Bayley and Hammersley 1946, as Yue and Wang 2004 use it for Mann and Kendall's
            test: 1 + 2 sum (1 - k/n) r^k, with r the lag-one correlation (from memory)
    Check   r = 0 gives 1; r = 0.5, n = 1000: 2.996
    """
    count = len(residuals)
    centre = fmean(residuals)
    spread = math.fsum((one - centre) ** 2 for one in residuals)
    if count < 3 or not spread:
        return 1.0
    pairs = pairwise(residuals)
    r = math.fsum((a - centre) * (b - centre) for a, b in pairs) / spread
    r = min(max(r, 0.0), 0.98)
    return 1.0 + 2.0 * math.fsum((1.0 - k / count) * r**k for k in range(1, count))
