"""How much heat a colony makes: logistic growth, growth and maintenance heat, the curve.

Ages are hours since inoculation; rates inside the growth law are per day, as printed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

SECONDS_PER_DAY = 86400.0


@dataclass(frozen=True, slots=True)
class GrowthLaw:
    """Logistic growth with its heat, per kilogram of dry substrate.

    `mu_per_day` specific growth rate; `start` and `full` kg of fungus per kg of dry substrate
    at inoculation and at full run; `growth_j_per_kg` heat of making a kilogram of fungus;
    `upkeep_w_per_kg` heat of keeping one alive.
    Source  Mitchell, Krieger and Berovič 2006, logistic form, constants from memory.
    """

    mu_per_day: float = 0.5
    start: float = 0.005
    full: float = 0.10
    growth_j_per_kg: float = 8.366e6
    upkeep_w_per_kg: float = 0.0

    def __post_init__(self) -> None:
        if not (self.mu_per_day > 0 and 0 < self.start < self.full):
            raise ValueError("growth needs a rate above 0 and 0 < start < full")
        if self.growth_j_per_kg < 0 or self.upkeep_w_per_kg < 0:
            raise ValueError("growth and upkeep heat can't be below 0")


def biomass(age_h: ArrayLike, law: GrowthLaw) -> NDArray[np.float64]:
    """Fungus at an age, kg per kg of dry substrate: the solution of dX/dt = mu X (1 - X/Xm).

    Valid   any age; the logistic runs on smoothly before inoculation
    Check   the law's defaults at 3 and 8 days: 0.019086 and 0.074184
    """
    days = np.asarray(age_h, dtype=float) / 24.0
    ratio = law.full / law.start - 1.0
    return np.asarray(law.full / (1.0 + ratio * np.exp(-law.mu_per_day * days)))


def growth_rate(age_h: ArrayLike, law: GrowthLaw) -> NDArray[np.float64]:
    """dX/dt, kg per kg of dry substrate and day. Check: 0.0125 at the defaults' peak."""
    x = biomass(age_h, law)
    return law.mu_per_day * x * (1.0 - x / law.full)


def growth_peak_h(law: GrowthLaw) -> float:
    """Age at which growth heat peaks [h]: ln(Xm/X0 - 1)/mu. Check: defaults, 5.889 d."""
    return 24.0 * math.log(law.full / law.start - 1.0) / law.mu_per_day


def heat_w_per_kg_dry(age_h: ArrayLike, law: GrowthLaw) -> NDArray[np.float64]:
    """Growth heat plus maintenance heat, W per kg of dry substrate.

    Source  Mitchell and others: heat = YQ dX/dt + m X
    Check   the law's defaults at their peak: 1.2104 W/kg dry, 0.4841 W/kg fresh at 60 % water
    """
    made = law.growth_j_per_kg * growth_rate(age_h, law) / SECONDS_PER_DAY
    return made + law.upkeep_w_per_kg * biomass(age_h, law)


def curve(
    age_h: ArrayLike,
    peak_k: ArrayLike,
    peak_h: ArrayLike,
    rise_h: ArrayLike,
    keep: ArrayLike,
) -> NDArray[np.float64]:
    """Surface warmth of a healthy bag over its local air through the run [K].

    age_h    hours since inoculation, any shape; the parameters broadcast against it
    peak_k   warmth at the peak [K]; may be negative or zero, the curve is linear in it
    peak_h   age at the peak [h]
    rise_h   logistic time constant of colonisation [h], above 0
    keep     share of the peak that maintenance heat keeps after full run, 0 <= keep < 1

    With colonisation x = 1/(1 + exp(-(age - c)/rise)) the curve is
        peak · (a · 4x(1 - x) + keep · x),   a = ((1 + sqrt(1 - keep)) / 2)²
    growth heat ∝ x(1 - x), maintenance heat ∝ x. That `a` makes the greatest value exactly
    `peak`; it falls at x* = 1/(1 + sqrt(1 - keep)), so c = peak_h + rise · ln(1 - keep)/2
    puts it at `peak_h`. Long after, the curve settles at keep · peak.

    Source  shape from the logistic form of Mitchell and others; the normalisation is ours
    Check   keep 0 at peak ± rise·ln(3): 0.75 of the peak (x is 0.25 and 0.75)
    Raises  ValueError for rise_h <= 0 or keep outside [0, 1)
    """
    rise = np.asarray(rise_h, dtype=float)
    kept = np.asarray(keep, dtype=float)
    if not (np.all(rise > 0) and np.all((kept >= 0) & (kept < 1))):
        raise ValueError("the heat curve needs rise_h above 0 and keep from 0 to below 1")
    centre = np.asarray(peak_h, dtype=float) + 0.5 * rise * np.log1p(-kept)
    # tanh is the logistic without overflow at ages far from the centre
    x = 0.5 * (1.0 + np.tanh((np.asarray(age_h, dtype=float) - centre) / (2.0 * rise)))
    a = (0.5 * (1.0 + np.sqrt(1.0 - kept))) ** 2
    return np.asarray(np.asarray(peak_k, dtype=float) * (4.0 * a * x * (1.0 - x) + kept * x))


@dataclass(frozen=True, slots=True)
class Cardinals:
    """Temperatures between which a strain grows, and where it grows fastest [°C]."""

    least_c: float = 5.0
    best_c: float = 27.0
    most_c: float = 36.0

    def __post_init__(self) -> None:
        if not self.least_c < self.best_c < self.most_c:
            raise ValueError("cardinal temperatures must rise: least, best, most")
        if self.best_c <= (self.least_c + self.most_c) / 2:
            raise ValueError("the best temperature must lie above the middle of least and most")


def temperature_response(temp_c: ArrayLike, cardinals: Cardinals) -> NDArray[np.float64]:
    """Growth rate at a temperature as a share of that at the best one, 0 to 1.

    temp_c   any shape [°C]; 0 outside (least, most)
    Source   Rosso, Lobry and Flandrois 1993, the cardinal temperature model with inflection
    Check    1 at the best temperature, 0 at both ends; its slope is 0 at the best
    """
    t = np.asarray(temp_c, dtype=float)
    low, best, high = cardinals.least_c, cardinals.best_c, cardinals.most_c
    top = (t - high) * (t - low) ** 2
    span = best - low
    bottom = span * (span * (t - best) - (best - high) * (best + low - 2.0 * t))
    inside = (t > low) & (t < high)
    return np.where(inside, top / np.where(inside, bottom, 1.0), 0.0)
