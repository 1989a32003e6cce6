"""Moist air beside ASHRAE's printed numbers, CoolProp and PsychroLib.

CoolProp treats air as a real gas and holds 0.45 % more water when full, hence 0.5 % on water
and 0.02 K on temperatures; PsychroLib is the same ASHRAE formulas in other hands.
"""

from __future__ import annotations

import math

import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from monitor.thermal import air

psychrolib.SetUnitSystem(psychrolib.SI)

#: Rooms a grower sees, and some he doesn't want to.
GRID = [
    (t, rh) for t in (5.0, 12.0, 18.0, 24.0, 30.0, 38.0) for rh in (20.0, 45.0, 70.0, 85.0, 97.0)
]
#: t, RH: dew point, g/kg, wet bulb, vapour Pa, kJ/kg, kPa short of full, g/m³ (PsychroLib 2.5.0).
ROWS = [
    (24, 85, 21.322, 15.975, 22.103, 2537.4, 64.81, 0.4478, 18.50),
    (24, 95, 23.149, 17.908, 23.383, 2835.9, 69.73, 0.1493, 20.68),
    (24, 70, 18.194, 13.096, 20.060, 2089.6, 57.48, 0.8955, 15.24),
    (22, 60, 13.886, 9.895, 16.874, 1586.9, 47.29, 1.0579, 11.65),
    (20, 50, 9.272, 7.262, 13.783, 1169.4, 38.55, 1.1694, 8.64),
    (25, 50, 13.864, 9.881, 17.889, 1584.6, 50.32, 1.5846, 11.52),
    (18, 90, 16.336, 11.617, 16.922, 1857.9, 47.55, 0.2064, 13.83),
    (28, 80, 24.225, 19.144, 25.205, 3025.8, 77.05, 0.7564, 21.77),
    (30, 90, 28.177, 24.376, 28.586, 3821.4, 92.50, 0.4246, 27.32),
    (35, 40, 19.385, 14.132, 23.934, 2251.1, 71.47, 3.3767, 15.83),
]


@pytest.mark.parametrize(
    ("temp_c", "pascal"), [(5, 872.6), (25, 3169.7), (50, 12351.3), (100, 101418.0)]
)
def test_saturation_pressure_matches_the_printed_ashrae_table(temp_c: float, pascal: float) -> None:
    # ASHRAE Fundamentals 2017, chapter 1, table 3; tolerance as in PsychroLib's own tests
    assert air.saturation_pressure_pa(temp_c) == pytest.approx(pascal, rel=3e-4)


def test_saturation_pressure_matches_the_steam_formulation_at_300_k() -> None:
    # IAPWS-IF97 verification table: psat(300 K) = 3536.589 Pa
    assert air.saturation_pressure_pa(300 - 273.15) == pytest.approx(3536.589, rel=3e-4)


@pytest.mark.parametrize("temp_c", [0.5, 10, 20, 24, 25, 30, 40, 60])
def test_saturation_pressure_agrees_with_coolprop_and_psychrolib(temp_c: float) -> None:
    water = PropsSI("P", "T", temp_c + 273.15, "Q", 0, "Water")
    assert air.saturation_pressure_pa(temp_c) == pytest.approx(water, rel=5e-4)
    assert air.saturation_pressure_pa(temp_c) == pytest.approx(
        psychrolib.GetSatVapPres(temp_c), rel=1e-6
    )


def test_saturation_pressure_goes_over_to_ice_below_freezing() -> None:
    assert air.saturation_pressure_pa(-10) == pytest.approx(psychrolib.GetSatVapPres(-10), rel=1e-6)
    assert air.saturation_pressure_pa(-1e-9) == pytest.approx(
        air.saturation_pressure_pa(0), rel=1e-4
    )


def test_magnus_form_is_up_to_a_third_of_a_per_cent_low() -> None:
    # WMO-No. 8, Annex 4.B
    assert air.magnus_pressure_pa(24) == pytest.approx(2976.59, abs=0.01)
    temps = range(5, 46)
    short = [air.magnus_pressure_pa(t) / air.saturation_pressure_pa(t) - 1 for t in temps]
    assert min(short) == pytest.approx(-0.00292, abs=2e-5)
    steam = [
        air.magnus_pressure_pa(t) / PropsSI("P", "T", t + 273.15, "Q", 0, "Water") - 1
        for t in temps
    ]
    assert min(steam) == pytest.approx(-0.00315, abs=2e-5)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]}C-{row[1]}%")
def test_moist_air_matches_the_table(row: tuple[float, ...]) -> None:
    t, rh, dew, grams, wet, vapour, enthalpy, deficit, absolute = row
    assert air.dew_point_c(t, rh) == pytest.approx(dew, abs=0.002)
    assert 1000 * air.humidity_ratio(t, rh) == pytest.approx(grams, abs=0.002)
    assert air.wet_bulb_c(t, rh) == pytest.approx(wet, abs=0.002)
    assert air.vapour_pressure_pa(t, rh) == pytest.approx(vapour, abs=0.1)
    assert air.enthalpy_j_per_kg(t, rh) / 1000 == pytest.approx(enthalpy, abs=0.01)
    assert air.vapour_deficit_pa(t, rh) / 1000 == pytest.approx(deficit, abs=1e-3)
    assert 1000 * air.absolute_humidity_kg_per_m3(t, rh) == pytest.approx(absolute, abs=0.01)


@pytest.mark.parametrize("pressure_pa", [101325.0, 89875.0])
def test_moist_air_agrees_with_psychrolib_over_a_grid(pressure_pa: float) -> None:
    for t, rh in GRID:
        share = rh / 100
        assert air.dew_point_c(t, rh) == pytest.approx(
            psychrolib.GetTDewPointFromRelHum(t, share), abs=0.002
        )
        assert air.wet_bulb_c(t, rh, pressure_pa) == pytest.approx(
            psychrolib.GetTWetBulbFromRelHum(t, share, pressure_pa), abs=0.002
        )
        ratio = psychrolib.GetHumRatioFromRelHum(t, share, pressure_pa)
        assert air.humidity_ratio(t, rh, pressure_pa) == pytest.approx(ratio, rel=1e-6)
        assert air.enthalpy_j_per_kg(t, rh, pressure_pa) == pytest.approx(
            psychrolib.GetMoistAirEnthalpy(t, ratio), rel=1e-6
        )


def test_moist_air_agrees_with_coolprop_over_a_grid() -> None:
    for t, rh in GRID:
        state = ("T", t + 273.15, "P", 101325.0, "R", rh / 100)
        if air.dew_point_c(t, rh) > 0.5:
            assert air.dew_point_c(t, rh) == pytest.approx(
                HAPropsSI("D", *state) - 273.15, abs=0.02
            )
        if air.wet_bulb_c(t, rh) > 0.5:
            assert air.wet_bulb_c(t, rh) == pytest.approx(HAPropsSI("B", *state) - 273.15, abs=0.02)
        assert air.humidity_ratio(t, rh) == pytest.approx(HAPropsSI("W", *state), rel=6e-3)
        assert air.enthalpy_j_per_kg(t, rh) == pytest.approx(HAPropsSI("H", *state), abs=500)


def test_wet_bulb_matches_psychrolibs_regression_point() -> None:
    # PsychroLib, test_psychrolib_si: 7 °C, 61 %, 100 000 Pa
    assert air.wet_bulb_c(7, 61, 100000) == pytest.approx(3.92667, abs=1e-3)


def test_ashrae_worked_example_comes_out() -> None:
    # ASHRAE Fundamentals 2017, chapter 1, example 1: 40 °C, wet bulb 20 °C, read off a chart as
    # 14 % RH and dew point 7 °C; half a per cent of RH is half a kelvin of dew point there
    assert air.humidity_ratio(40, 14) == pytest.approx(0.0065, abs=1e-4)
    assert air.wet_bulb_c(40, 14) == pytest.approx(20, abs=0.1)
    assert air.dew_point_c(40, 14) == pytest.approx(7, abs=0.6)
    assert air.enthalpy_j_per_kg(40, 14) == pytest.approx(56.7e3, rel=5e-3)


def test_wet_bulb_is_near_stulls_fit() -> None:
    # Stull 2011, J. Appl. Meteorol. Climatol. 50:2267: good to 1 K, a fit and not the truth
    def stull(t: float, rh: float) -> float:
        return float(
            t * math.atan(0.151977 * math.sqrt(rh + 8.313659))
            + math.atan(t + rh)
            - math.atan(rh - 1.676331)
            + 0.00391838 * math.pow(rh, 1.5) * math.atan(0.023101 * rh)
            - 4.686035
        )

    assert stull(20, 50) == pytest.approx(13.699, abs=1e-3)
    for t, rh in ((20, 50), (24, 85), (30, 50)):
        assert air.wet_bulb_c(t, rh) == pytest.approx(stull(t, rh), abs=0.3)


def test_water_settles_on_a_surface_at_21_3_and_not_at_21_4_in_a_spawn_room() -> None:
    assert air.condenses_on(24, 85, 21.3)
    assert not air.condenses_on(24, 85, 21.4)
    assert air.humidity_at_surface_pct(24, 85, 21.3) == pytest.approx(100.1, abs=0.05)
    assert air.humidity_at_surface_pct(24, 85, 21.4) == pytest.approx(99.5, abs=0.05)


def test_a_bag_warmer_than_its_air_never_gets_wet_outside() -> None:
    assert not any(air.condenses_on(t, rh, t + 0.1) for t, rh in GRID)


def test_a_humidity_error_of_two_per_cent_moves_the_dew_point_0_38_k() -> None:
    assert air.dew_point_c(24, 87) - air.dew_point_c(24, 85) == pytest.approx(0.38, abs=0.01)


def test_air_at_a_thousand_metres_holds_more_water_for_its_weight() -> None:
    assert 1000 * air.humidity_ratio(24, 85, 89875) == pytest.approx(18.07, abs=0.01)
    assert air.wet_bulb_c(24, 85, 89875) == pytest.approx(22.04, abs=0.01)


def test_a_gram_of_water_an_hour_draws_two_thirds_of_a_watt() -> None:
    assert air.evaporation_heat_w(1e-3 / 3600, 24) == pytest.approx(0.679, abs=1e-3)


@pytest.mark.parametrize(("temp_c", "humidity_pct"), [(24, -1), (24, 100.5), (250, 50)])
def test_impossible_air_is_refused(temp_c: float, humidity_pct: float) -> None:
    with pytest.raises(ValueError, match="outside"):
        air.vapour_pressure_pa(temp_c, humidity_pct)


def test_dry_air_has_no_dew_point() -> None:
    with pytest.raises(ValueError, match="no dew point"):
        air.dew_point_c(24, 0)


def test_vapour_over_the_whole_pressure_is_refused() -> None:
    with pytest.raises(ValueError, match="can't hold"):
        air.humidity_ratio(90, 100, 50000)
