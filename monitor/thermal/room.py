"""Balance of a room: the heat of all bags, their CO2, fresh air for a limit, cooling needed.

Volumes are taken at 24 °C and sea level; a ppm is a volume in a million volumes of air.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from monitor.thermal.gas import (
    CO2_KG_PER_MOL,
    OXYCALORIC_J_PER_MOL,
    co2_kg_per_s_from_heat,
    heat_w_from_co2,
)

OUTSIDE_PPM = 420.0
#: Ideal gas at 24 °C and 101 325 Pa.
MOLAR_VOLUME_M3 = 8.314462618 * 297.15 / 101325.0
#: Density times heat capacity of air at 24 °C [J/(m³ K)].
AIR_J_PER_M3_K = 1.1883 * 1006.3


def total_heat_w(bags: Iterable[tuple[float, float]]) -> float:
    """Heat of all bags [W] from (mass in kg, W per kg) of each.

    Check   40 bags of 2.65 kg at 0.26 W/kg: 27.56 W
    Raises  ValueError for a mass below 0
    """
    total = 0.0
    for mass_kg, heat_w_per_kg in bags:
        if mass_kg < 0:
            raise ValueError(f"a bag can't weigh {mass_kg:g} kg")
        total += mass_kg * heat_w_per_kg
    return total


def co2_m3_per_s(
    heat_w: float, rq: float = 1.0, oxycaloric_j_per_mol: float = OXYCALORIC_J_PER_MOL
) -> float:
    """Volume of CO2 behind a heat [m³/s]. Check 100 W: 19.08 L/h (34.44 g/h)."""
    rate = co2_kg_per_s_from_heat(heat_w, rq, oxycaloric_j_per_mol)
    return rate / CO2_KG_PER_MOL * MOLAR_VOLUME_M3


def _air_above_zero(fresh_air_m3_per_s: float) -> None:
    if not fresh_air_m3_per_s > 0:
        raise ValueError("without fresh air CO2 has no steady level")


def steady_ppm(
    heat_w: float, fresh_air_m3_per_s: float, rq: float = 1.0, outside_ppm: float = OUTSIDE_PPM
) -> float:
    """CO2 a well mixed room settles at [ppm].

    Source  mass balance; check 27.56 W at 15 m³/h: 771
    Raises  ValueError for fresh air not above 0
    """
    _air_above_zero(fresh_air_m3_per_s)
    return outside_ppm + 1e6 * co2_m3_per_s(heat_w, rq) / fresh_air_m3_per_s


def air_time_constant_s(volume_m3: float, fresh_air_m3_per_s: float) -> float:
    """Time in which a room follows its fresh air [s]. Check 30 m³ at 15 m³/h: 2 h."""
    _air_above_zero(fresh_air_m3_per_s)
    if not volume_m3 > 0:
        raise ValueError("a room needs a volume above 0")
    return volume_m3 / fresh_air_m3_per_s


def ppm_after(start_ppm: float, settled_ppm: float, seconds: float, constant_s: float) -> float:
    """CO2 after a time on its way to the steady level [ppm].

    Check   from 420 to 771 with 2 h, after 2 h: 642
    Raises  ValueError for a time constant not above 0 or a time below 0
    """
    if not constant_s > 0 or seconds < 0:
        raise ValueError("needs a time constant above 0 and a time of 0 or more")
    return settled_ppm + (start_ppm - settled_ppm) * math.exp(-seconds / constant_s)


def fresh_air_for_limit_m3_per_s(
    heat_w: float, limit_ppm: float, rq: float = 1.0, outside_ppm: float = OUTSIDE_PPM
) -> float:
    """Fresh air that holds CO2 at a limit [m³/s].

    Check   100 W: 32.9 m³/h for 1000 ppm, 12.08 for 2000, 4.17 for 5000, 1.99 for 10 000
    Raises  ValueError for a limit at or below the outside
    """
    if not limit_ppm > outside_ppm:
        raise ValueError(f"no fresh air brings a room to {limit_ppm:g} ppm: outside has more")
    return 1e6 * co2_m3_per_s(heat_w, rq) / (limit_ppm - outside_ppm)


def heat_from_ppm_w(
    ppm: float, fresh_air_m3_per_s: float, rq: float = 1.0, outside_ppm: float = OUTSIDE_PPM
) -> float:
    """Heat of all bags from the CO2 the room settled at [W]: a free check on their sum.

    Check   771 ppm at 15 m³/h: 27.6 W
    Raises  ValueError for fresh air not above 0
    """
    _air_above_zero(fresh_air_m3_per_s)
    moles = (ppm - outside_ppm) * 1e-6 * fresh_air_m3_per_s / MOLAR_VOLUME_M3
    return heat_w_from_co2(moles * CO2_KG_PER_MOL, rq)


def fresh_air_cooling_w_per_k(fresh_air_m3_per_s: float) -> float:
    """Heat fresh air takes out per kelvin of room over outside [W/K].

    Check   1 m³/h: 0.332; so air for CO2 does not cool a room
    """
    return fresh_air_m3_per_s * AIR_J_PER_M3_K


def cooling_needed_w(
    bags_heat_w: float,
    *,
    room_c: float,
    outside_c: float,
    wall_loss_w_per_k: float,
    fresh_air_m3_per_s: float,
    other_heat_w: float = 0.0,
) -> float:
    """Cooling that holds a room at its temperature [W]; below 0 it is heating.

    other_heat_w   lamps, fans, people
    Source  steady energy balance of the room, dry: moisture in fresh air not counted
    Check   1000 W of bags, 24 °C in 30 °C, walls 20 W/K, no fresh air: 1120 W
    Raises  ValueError for a wall loss or fresh air below 0
    """
    if wall_loss_w_per_k < 0 or fresh_air_m3_per_s < 0:
        raise ValueError("wall loss and fresh air can't be below 0")
    per_k = wall_loss_w_per_k + fresh_air_cooling_w_per_k(fresh_air_m3_per_s)
    return bags_heat_w + other_heat_w + per_k * (outside_c - room_c)


def ppm_to_mg_per_m3(ppm: float, temp_c: float = 25.0, pressure_pa: float = 101325.0) -> float:
    """CO2 by volume as mass [mg/m³]. Check 1 ppm at 25 °C: 1.799."""
    return ppm * CO2_KG_PER_MOL * pressure_pa / (8.314462618 * (temp_c + 273.15))
