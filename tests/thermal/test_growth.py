"""Growth heat and the curve a healthy bag follows."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.thermal.growth import (
    Cardinals,
    GrowthLaw,
    biomass,
    curve,
    growth_peak_h,
    growth_rate,
    heat_w_per_kg_dry,
    temperature_response,
)


def test_logistic_peak_has_its_time_rate_and_heat() -> None:
    # Mitchell and others' form; X0 0.005, Xm 0.10, 0.5 per day, 8.366 MJ/kg, 40 % dry matter
    law = GrowthLaw(0.5, 0.005, 0.10, 8.366e6, 0.0)
    peak = growth_peak_h(law)
    assert peak / 24 == pytest.approx(5.889, rel=1e-4)
    assert growth_rate(peak, law) == pytest.approx(0.0125, rel=1e-4)
    assert heat_w_per_kg_dry(peak, law) == pytest.approx(1.2104, rel=1e-4)
    assert 0.40 * heat_w_per_kg_dry(peak, law) == pytest.approx(0.4841, rel=2e-4)
    assert biomass([72, 192], law) == pytest.approx([0.019086, 0.074184], rel=1e-4)


def test_biomass_solves_its_own_equation() -> None:
    law = GrowthLaw()
    ages = np.linspace(0, 400, 50)
    slope = (biomass(ages + 0.01, law) - biomass(ages - 0.01, law)) / 0.02 * 24
    assert slope == pytest.approx(growth_rate(ages, law), rel=1e-5)


def test_upkeep_heat_stays_when_growth_is_over() -> None:
    law = GrowthLaw(upkeep_w_per_kg=4.0)
    assert heat_w_per_kg_dry(2000, law) == pytest.approx(4.0 * 0.10, rel=1e-6)


@settings(max_examples=80, deadline=None)
@given(st.floats(0.2, 5), st.floats(60, 300), st.floats(8, 60), st.floats(0, 0.9))
def test_curve_peaks_at_its_peak_and_keeps_its_share(
    peak_k: float, peak_h: float, rise_h: float, keep: float
) -> None:
    ages = peak_h + rise_h * np.linspace(-6, 6, 2401)
    found = curve(ages, peak_k, peak_h, rise_h, keep)
    assert np.max(found) == pytest.approx(peak_k, rel=1e-4)
    assert curve(peak_h, peak_k, peak_h, rise_h, keep) == pytest.approx(peak_k)
    assert ages[np.argmax(found)] == pytest.approx(peak_h, abs=0.6 * rise_h)
    assert curve(peak_h + 60 * rise_h, peak_k, peak_h, rise_h, keep) == pytest.approx(
        keep * peak_k, abs=1e-9
    )
    assert curve(peak_h - 60 * rise_h, peak_k, peak_h, rise_h, keep) == pytest.approx(0, abs=1e-9)


def test_curve_without_upkeep_is_the_logistic_bell() -> None:
    third = 24 * np.log(3)
    assert curve([130 - third, 130, 130 + third], 2.0, 130, 24, 0) == pytest.approx([1.5, 2.0, 1.5])


def test_curve_is_growth_heat_when_scaled_to_its_peak() -> None:
    law = GrowthLaw()
    ages = np.linspace(0, 400, 81)
    bell = heat_w_per_kg_dry(ages, law)
    peak = growth_peak_h(law)
    scaled = curve(ages, float(heat_w_per_kg_dry(peak, law)), peak, 24 / law.mu_per_day, 0)
    assert bell == pytest.approx(scaled, rel=1e-9)


def test_curve_broadcasts_parameters_over_ages() -> None:
    found = curve(np.arange(5.0), 1.0, np.full((3, 1), 100.0), 20.0, np.zeros((3, 1)))
    assert found.shape == (3, 5)
    assert np.all(np.isfinite(curve([-1e6, 1e6], 1, 100, 0.1, 0.5)))


@pytest.mark.parametrize(("rise_h", "keep"), [(0, 0.2), (-5, 0.2), (20, 1.0), (20, -0.1)])
def test_curve_refuses_a_shape_that_is_none(rise_h: float, keep: float) -> None:
    with pytest.raises(ValueError, match="heat curve"):
        curve(10.0, 1.0, 100.0, rise_h, keep)


def test_temperature_response_is_one_at_the_best_and_none_at_the_ends() -> None:
    # Rosso, Lobry and Flandrois 1993: the cardinal temperatures are what they are called
    law = Cardinals(5, 27, 36)
    assert temperature_response([4, 5, 27, 36, 40], law) == pytest.approx([0, 0, 1, 0, 0])
    temps = np.linspace(5, 36, 3101)
    found = temperature_response(temps, law)
    assert temps[np.argmax(found)] == pytest.approx(27, abs=0.02)
    assert np.all((found >= 0) & (found <= 1 + 1e-12))


def test_temperature_response_stays_finite_where_its_denominator_vanishes() -> None:
    law = Cardinals(5, 27, 36)
    assert np.all(np.isfinite(temperature_response(np.linspace(-50, 90, 14001), law)))


def test_laws_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match="start < full"):
        GrowthLaw(start=0.2, full=0.1)
    with pytest.raises(ValueError, match="below 0"):
        GrowthLaw(upkeep_w_per_kg=-1)
    with pytest.raises(ValueError, match="rise"):
        Cardinals(5, 40, 36)
    with pytest.raises(ValueError, match="middle"):
        Cardinals(5, 15, 36)
