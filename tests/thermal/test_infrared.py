"""Infrared correction beside numbers computed from Planck's law over 8 to 14 µm."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.thermal.infrared import reset_emissivity_c, shown_c, true_surface_c


@pytest.mark.parametrize(
    ("shown", "reflected", "emissivity", "true", "in_band"),
    [
        (27.0, 22.0, 0.95, 27.256, 27.257),
        (27.0, 22.0, 0.90, 27.540, 27.542),
        (30.0, 22.0, 0.90, 30.851, 30.854),
        (27.0, 10.0, 0.95, 27.818, 27.823),
    ],
)
def test_surface_is_found_within_a_hundredth_when_shown_and_reflected_are_known(
    shown: float, reflected: float, emissivity: float, true: float, in_band: float
) -> None:
    found = true_surface_c(shown, reflected, emissivity)
    assert found == pytest.approx(true, abs=1e-3)
    assert found == pytest.approx(in_band, abs=0.01)
    assert found == pytest.approx(_planck_surface_c(shown, reflected, emissivity), abs=0.01)


def _planck_surface_c(shown: float, reflected: float, emissivity: float) -> float:
    """The same balance with Planck's law (CODATA c1, c2) integrated over 8 to 14 µm."""
    wave_m = np.linspace(8e-6, 14e-6, 2001)

    def band(temp_c: float) -> float:
        power = 3.741771852e-16 / wave_m**5 / np.expm1(1.438776877e-2 / wave_m / (temp_c + 273.15))
        return float(np.mean((power[1:] + power[:-1]) / 2))

    wanted = (band(shown) - (1 - emissivity) * band(reflected)) / emissivity
    low, high = shown - 20.0, shown + 20.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if band(middle) < wanted else (low, middle)
    return low


def test_a_bag_at_27_reads_26_76_among_walls_at_22() -> None:
    assert shown_c(27.0, 22.0, 0.95) == pytest.approx(26.756, abs=1e-3)


def test_a_wrong_emissivity_of_0_05_costs_a_quarter_kelvin() -> None:
    assert true_surface_c(27, 22, 0.95) - 27 == pytest.approx(0.26, abs=0.01)


@given(st.floats(0, 60), st.floats(0, 60), st.floats(0.5, 1))
def test_showing_and_correcting_undo_each_other(surface: float, walls: float, eps: float) -> None:
    assert true_surface_c(shown_c(surface, walls, eps), walls, eps) == pytest.approx(surface)


def test_a_thermometer_set_right_is_left_alone() -> None:
    assert reset_emissivity_c(27, 22, 0.95, 0.95) == pytest.approx(27)
    assert reset_emissivity_c(27, 22, 1.0, 0.95) == pytest.approx(true_surface_c(27, 22, 0.95))


@pytest.mark.parametrize("emissivity", [0.0, -0.5, 1.2])
def test_an_impossible_emissivity_is_refused(emissivity: float) -> None:
    with pytest.raises(ValueError, match="emissivity"):
        true_surface_c(27, 22, emissivity)


def test_a_reflection_that_explains_more_than_all_is_refused() -> None:
    with pytest.raises(ValueError, match="reflection"):
        true_surface_c(-50, 200, 0.3)


def test_a_temperature_below_absolute_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="absolute zero"):
        shown_c(-300, 22)
