"""Moist air: vapour pressure, dew point, wet bulb, humidity ratio, enthalpy, condensation.

Humidity is relative humidity in per cent, 0 to 100; pressure in pascal, sea level unless told.
Air is an ideal mixture: CoolProp's real gas holds 0.45 % more water at saturation.
"""

from __future__ import annotations

import math

from monitor.thermal.film import KELVIN, STANDARD_PA

#: Molar mass of water over that of dry air (ASHRAE Fundamentals 2017, chapter 1, eq. 20).
MASS_RATIO = 0.621945
WATER_GAS_J_PER_KG_K = 461.52


def _check_temperature(temp_c: float) -> None:
    if not -100.0 <= temp_c <= 200.0:
        raise ValueError(f"{temp_c:g} °C is outside -100 to 200 °C")


def _check_humidity(humidity_pct: float) -> None:
    if not 0.0 <= humidity_pct <= 100.0:
        raise ValueError(f"a relative humidity of {humidity_pct:g} % is outside 0 to 100")


def saturation_pressure_pa(temp_c: float) -> float:
    """Saturation pressure of water vapour over water, below 0 °C over ice [Pa].

    Source  Hyland and Wexler 1983, as ASHRAE Fundamentals 2017, chapter 1, eqs 5 and 6
    Valid   -100 to 200 °C
    Check   5, 25, 50 °C: 872.6, 3169.7, 12351.3 Pa (ASHRAE table, 3e-4)
    Raises  ValueError outside that range
    """
    _check_temperature(temp_c)
    t = temp_c + KELVIN
    if temp_c < 0.0:
        ln_p = (
            -5.6745359e3 / t
            + 6.3925247
            - 9.677843e-3 * t
            + 6.2215701e-7 * t**2
            + 2.0747825e-9 * t**3
            - 9.484024e-13 * t**4
            + 4.1635019 * math.log(t)
        )
    else:
        ln_p = (
            -5.8002206e3 / t
            + 1.3914993
            - 4.8640239e-2 * t
            + 4.1764768e-5 * t**2
            - 1.4452093e-8 * t**3
            + 6.5459673 * math.log(t)
        )
    return math.exp(ln_p)


def magnus_pressure_pa(temp_c: float) -> float:
    """Saturation pressure by the short form weather services print [Pa].

    Source  WMO-No. 8, Annex 4.B: 611.2 exp(17.62 t/(243.12 + t))
    Valid   -45 to 60 °C; up to 0.29 % below Hyland and Wexler (0.32 % below steam) near 28 °C
    Check   24 °C: 2976.59
    Raises  ValueError outside -45 to 60 °C
    """
    if not -45.0 <= temp_c <= 60.0:
        raise ValueError(f"{temp_c:g} °C is outside -45 to 60 °C")
    return 611.2 * math.exp(17.62 * temp_c / (243.12 + temp_c))


def vapour_pressure_pa(temp_c: float, humidity_pct: float) -> float:
    """Partial pressure of water vapour [Pa]. Check 24 °C, 85 %: 2537.4."""
    _check_humidity(humidity_pct)
    return humidity_pct / 100.0 * saturation_pressure_pa(temp_c)


def vapour_deficit_pa(temp_c: float, humidity_pct: float) -> float:
    """How far the air is from full [Pa]. Check 24 °C, 85 %: 447.8 (0.448 kPa)."""
    return saturation_pressure_pa(temp_c) - vapour_pressure_pa(temp_c, humidity_pct)


def dew_point_c(temp_c: float, humidity_pct: float) -> float:
    """Temperature at which this air is full [°C]; below 0 °C the frost point.

    Source  inverse of Hyland and Wexler by bisection, to 1e-9 K
    Check   24 °C, 85 %: 21.32; humidity off by 2 % moves it 0.38 K there
    Raises  ValueError for dry air (0 %), which has none, or a dew point under -100 °C
    """
    vapour = vapour_pressure_pa(temp_c, humidity_pct)
    if vapour < saturation_pressure_pa(-100.0):
        raise ValueError("air this dry has no dew point above -100 °C")
    low, high = -100.0, temp_c
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        if saturation_pressure_pa(middle) < vapour:
            low = middle
        else:
            high = middle
    return high


def humidity_ratio(temp_c: float, humidity_pct: float, pressure_pa: float = STANDARD_PA) -> float:
    """Water per kilogram of dry air [kg/kg].

    Source  ASHRAE Fundamentals 2017, chapter 1, eq. 20
    Check   24 °C, 85 %: 0.015975 at sea level, 0.01807 at 1000 m (89 875 Pa)
    Raises  ValueError where the vapour alone would exceed the pressure
    """
    return _ratio_of(vapour_pressure_pa(temp_c, humidity_pct), pressure_pa)


def _ratio_of(vapour_pa: float, pressure_pa: float) -> float:
    if not pressure_pa > vapour_pa:
        raise ValueError(f"{pressure_pa:g} Pa of air can't hold {vapour_pa:g} Pa of vapour")
    return MASS_RATIO * vapour_pa / (pressure_pa - vapour_pa)


def wet_bulb_c(temp_c: float, humidity_pct: float, pressure_pa: float = STANDARD_PA) -> float:
    """Thermodynamic wet bulb temperature [°C].

    Source  ASHRAE Fundamentals 2017, chapter 1, eqs 33 and 35, solved by bisection to 1e-9 K
    Check   24 °C, 85 %: 22.10; 7 °C, 61 %, 100 000 Pa: 3.927
    Raises  ValueError as `humidity_ratio`
    """
    ratio = humidity_ratio(temp_c, humidity_pct, pressure_pa)
    low, high = -100.0, temp_c
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        if _ratio_at_wet_bulb(temp_c, middle, pressure_pa) < ratio:
            low = middle
        else:
            high = middle
    return high


def _ratio_at_wet_bulb(temp_c: float, wet_c: float, pressure_pa: float) -> float:
    full = _ratio_of(saturation_pressure_pa(wet_c), pressure_pa)
    cooled_k = temp_c - wet_c
    if wet_c >= 0.0:
        return ((2501.0 - 2.326 * wet_c) * full - 1.006 * cooled_k) / (
            2501.0 + 1.86 * temp_c - 4.186 * wet_c
        )
    return ((2830.0 - 0.24 * wet_c) * full - 1.006 * cooled_k) / (
        2830.0 + 1.86 * temp_c - 2.1 * wet_c
    )


def enthalpy_j_per_kg(
    temp_c: float, humidity_pct: float, pressure_pa: float = STANDARD_PA
) -> float:
    """Enthalpy per kilogram of dry air over dry air at 0 °C [J/kg].

    Source  ASHRAE Fundamentals 2017, chapter 1, eq. 30
    Check   24 °C, 85 %: 64.81e3
    """
    ratio = humidity_ratio(temp_c, humidity_pct, pressure_pa)
    return 1006.0 * temp_c + ratio * (2.501e6 + 1860.0 * temp_c)


def absolute_humidity_kg_per_m3(temp_c: float, humidity_pct: float) -> float:
    """Water per cubic metre of air [kg/m³]: ideal gas. Check 24 °C, 85 %: 18.50e-3."""
    return vapour_pressure_pa(temp_c, humidity_pct) / (WATER_GAS_J_PER_KG_K * (temp_c + KELVIN))


def humidity_at_surface_pct(temp_c: float, humidity_pct: float, surface_c: float) -> float:
    """Relative humidity of this air cooled to a surface [%]; 100 and over wets it.

    Check   24 °C, 85 %: 100.1 at 21.3 °C, 99.5 at 21.4 °C
    """
    return 100.0 * vapour_pressure_pa(temp_c, humidity_pct) / saturation_pressure_pa(surface_c)


def condenses_on(temp_c: float, humidity_pct: float, surface_c: float) -> bool:
    """Whether water settles on a surface: a cold wall, or a fresh bag out of the cold.

    A bag warmer than its air never gets wet outside.
    Check   24 °C, 85 %: yes at 21.3 °C, no at 21.4 °C
    """
    return humidity_at_surface_pct(temp_c, humidity_pct, surface_c) >= 100.0


def evaporation_heat_w(water_kg_per_s: float, temp_c: float) -> float:
    """Heat that evaporating water draws off a bag [W]; why a torn or wet bag reads cold.

    Source  2.501e6 - 2370 t J/kg, linear fit to steam tables
    Valid   0 to 50 °C, 0.1 %; check 1 g/h at 24 °C: 0.679 W
    """
    return water_kg_per_s * (2.501e6 - 2370.0 * temp_c)
