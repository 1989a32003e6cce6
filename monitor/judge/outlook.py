"""Heat and core of one bag from one look to the next.

A look says how warm the bag stood at its last row and how that moves; until the next look only
the air and the hours since then change. All else is worked out once (`Outlook.of`), so that a
frame costs little in a room of many bags.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.judge.verdicts import Standing, VerdictParams, thermal
from monitor.terms import HOUR_S
from monitor.thermal.bag import Z80, from_neighbours_w_per_k, loss_at
from monitor.values import Bag, Estimate

#: No fit is carried further than this beyond its last row [h].
MOST_AHEAD_H = 6.0


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a look makes of a bag's heat.

    `row_h` the look's last row [h], there `warmth_k` over the lagged air, its slope, and by how
    much the surface trails the heat [K]; what each kelvin of warmth tells of heat [W/(kg K)] and
    what of the warmth comes from the bags beside it; the same of the core; variances of heat
    [(W/kg)²] and core [K²] that are there anyway, and those that grow with heat and warmth squared.
    """

    row_h: float
    warmth_k: float
    slope_k_per_h: float
    trailing_k: float
    heat_per_k: float
    lent_heat: float
    heat_variance: float
    heat_share: float
    core_per_k: float
    lent_core_k: float
    core_variance: float
    core_share: float
    rate_k_per_h: float | None

    @staticmethod
    def of(bag: Bag, standing: Standing | None, params: VerdictParams) -> Outlook | None:
        """The outlook on a bag that stands so; None where nothing is known of its warmth."""
        if standing is None or standing.over_air_k is None:
            return None
        bag_thermal = thermal(bag)
        # a probe sees part of the air
        contact, contact_sd = params.contact_by(standing.by_hand)
        # what the room shares and the bag's own offset are no heat
        warmth_k = standing.over_air_k / contact
        # the look's last row lies hours back, and the surface itself trails the heat
        slope_k_per_h = standing.slope_k_per_h / contact
        trailing_k = slope_k_per_h * bag_thermal.heat_lag_s / HOUR_S
        error_k = _error_k(standing, params) / contact

        heat_per_k = loss_at(bag_thermal, warmth_k) / bag.mass_kg
        per_neighbour_k = from_neighbours_w_per_k(bag_thermal, params.open_view) / bag.mass_kg
        lent_heat = per_neighbour_k * standing.around_k / contact
        lent_sd = lent_heat * params.open_view_sd / (1.0 - params.open_view)
        heat_sd = heat_per_k * math.hypot(error_k, params.lag_sd * trailing_k)

        ratio = bag_thermal.core_per_surface
        spread = bag_thermal.core_per_surface_high - bag_thermal.core_per_surface_low
        inward_k = (ratio - 1.0) * bag.mass_kg / bag_thermal.loss_w_per_k
        return Outlook(
            row_h=standing.row_h,
            warmth_k=warmth_k,
            slope_k_per_h=slope_k_per_h,
            trailing_k=trailing_k,
            heat_per_k=heat_per_k,
            lent_heat=lent_heat,
            heat_variance=heat_sd**2 + lent_sd**2,
            heat_share=(contact_sd / contact) ** 2 + params.loss_sd**2,
            core_per_k=1.0 + inward_k * heat_per_k,
            lent_core_k=inward_k * lent_heat,
            core_variance=(ratio * error_k) ** 2 + (inward_k * lent_sd) ** 2,
            core_share=(ratio * contact_sd) ** 2 + (spread / (2.0 * Z80)) ** 2,
            rate_k_per_h=standing.rate_k_per_h,
        )


def _error_k(standing: Standing, params: VerdictParams) -> float:
    """How far the bag's warmth is unknown [K]: by its fit, its reading, and by hand by what all
    readings of the room share."""
    shared_k = 0.0
    if standing.by_hand:
        shared_k = max(params.hand_bias_k, params.hand_bias_per_drift * standing.drift_k)
    return math.hypot(standing.fit_sd_k, max(params.reading_k, standing.reading_k), shared_k)


def estimate_bag(
    bag: str,
    end_s: float,
    surface_c: float | None,
    local_air_c: float | None,
    lagged_air_c: float | None,
    outlook: Outlook | None,
) -> Estimate:
    """Heat and core of one bag at a frame's end; `surface_c` its reading of the frame."""
    excess_k = None
    if surface_c is not None and lagged_air_c is not None:
        excess_k = surface_c - lagged_air_c
    if outlook is None or lagged_air_c is None:
        return Estimate(bag, end_s, surface_c, local_air_c, excess_k)
    since_h = min(MOST_AHEAD_H, max(0.0, end_s / HOUR_S - outlook.row_h))
    warmth_k = outlook.warmth_k + outlook.slope_k_per_h * since_h
    heat = outlook.heat_per_k * (warmth_k + outlook.trailing_k) - outlook.lent_heat
    heat_80 = Z80 * math.sqrt(outlook.heat_variance + outlook.heat_share * heat * heat)
    core_c = lagged_air_c + outlook.core_per_k * warmth_k - outlook.lent_core_k
    core_80 = Z80 * math.sqrt(outlook.core_variance + outlook.core_share * warmth_k * warmth_k)
    return Estimate(
        bag,
        end_s,
        surface_c,
        local_air_c,
        excess_k,
        heat,
        heat - heat_80,
        heat + heat_80,
        core_c,
        core_c - core_80,
        core_c + core_80,
        outlook.rate_k_per_h,
    )
