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
from monitor.thermal.bag import Z80
from monitor.values import Bag, Estimate

#: No fit is carried further than this beyond its last row [h].
MOST_AHEAD_H = 6.0


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a look makes of a bag's heat.

    `row_h` the look's last row [h], there `warmth_k` over the lagged air, its slope, and by how
    much the surface trails the heat [K]; variances of heat [(W/kg)²] and core [K²] that are
    there anyway, and those that grow with heat and warmth squared.
    """

    row_h: float
    warmth_k: float
    slope_k_per_h: float
    trailing_k: float
    per_kg: float
    heat_variance: float
    heat_share: float
    core_ratio: float
    core_variance: float
    core_share: float
    rate_k_per_h: float | None

    @staticmethod
    def of(bag: Bag, standing: Standing | None, params: VerdictParams) -> Outlook | None:
        """The outlook on a bag that stands so; None where nothing is known of its warmth."""
        if standing is None or standing.warmth_k is None:
            return None
        bag_thermal = thermal(bag)
        contact, contact_sd, bias_k = params.contact, params.contact_sd, 0.0
        if standing.by_hand:
            contact, contact_sd, bias_k = 1.0, 0.0, params.hand_bias_k
        # The look's last row lies hours back, and the surface itself trails the heat by the lag.
        slope_k_per_h = standing.slope_k_per_h / contact
        trailing_k = slope_k_per_h * bag_thermal.lag_s / HOUR_S
        reading_k = max(params.reading_k, standing.reading_k)
        error_k = math.hypot(standing.offset_sd_k, reading_k, bias_k) / contact
        per_kg = params.crowded * bag_thermal.loss_w_per_k / bag.mass_kg
        ratio = bag_thermal.core_per_surface
        spread = bag_thermal.core_per_surface_high - bag_thermal.core_per_surface_low
        return Outlook(
            row_h=standing.row_h,
            # What the room shares and the bag's own offset are no heat; a probe sees part of
            # the air.
            warmth_k=(standing.warmth_k - standing.offset_k) / contact,
            slope_k_per_h=slope_k_per_h,
            trailing_k=trailing_k,
            per_kg=per_kg,
            heat_variance=per_kg**2 * (error_k**2 + (params.lag_sd * trailing_k) ** 2),
            heat_share=(contact_sd / contact) ** 2 + params.loss_sd**2,
            core_ratio=ratio,
            core_variance=(ratio * error_k) ** 2,
            core_share=(ratio * contact_sd) ** 2 + (spread / (2.0 * Z80)) ** 2,
            rate_k_per_h=standing.rate_k_per_h,
        )


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
    heat = outlook.per_kg * (warmth_k + outlook.trailing_k)
    heat_80 = Z80 * math.sqrt(outlook.heat_variance + outlook.heat_share * heat * heat)
    core_c = lagged_air_c + outlook.core_ratio * warmth_k
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
