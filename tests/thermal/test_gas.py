"""Heat from oxygen and CO2 beside heats of combustion and a published compost rate."""

from __future__ import annotations

import pytest

from monitor.thermal.gas import (
    CO2_KG_PER_MOL,
    O2_KG_PER_MOL,
    OXYCALORIC_BAND_J_PER_MOL,
    OXYCALORIC_J_PER_MOL,
    co2_kg_per_s_from_heat,
    heat_w_from_co2,
    heat_w_from_o2,
)

HOUR_MG = 1e-6 / 3600


def test_compost_in_spawn_run_makes_a_quarter_watt_a_kilogram() -> None:
    # a growers' text: 9 g CO2 an hour per 100 kg at 25 °C
    assert heat_w_from_co2(90 * HOUR_MG) == pytest.approx(0.2613, rel=1e-3)
    assert heat_w_from_co2(90 * HOUR_MG, 0.9) == pytest.approx(0.290, rel=2e-3)


@pytest.mark.parametrize(
    ("oxycaloric", "rq", "mg_per_h"),
    [(460e3, 1.0, 344.4), (460e3, 0.90, 310.0), (460e3, 0.77, 265.2), (440e3, 1.0, 360.1)],
)
def test_a_watt_is_so_much_co2(oxycaloric: float, rq: float, mg_per_h: float) -> None:
    assert co2_kg_per_s_from_heat(1, rq, oxycaloric) / HOUR_MG == pytest.approx(mg_per_h, rel=1e-3)


def test_burning_glucose_lies_inside_the_band() -> None:
    # heats of formation from memory: glucose -1273.3, CO2 -393.51, water -285.83 kJ/mol
    per_mol_o2 = (6 * 393.51 + 6 * 285.83 - 1273.3) / 6 * 1e3
    assert per_mol_o2 == pytest.approx(467.1e3, rel=1e-3)
    low, high = OXYCALORIC_BAND_J_PER_MOL
    assert low <= per_mol_o2 <= high
    assert per_mol_o2 == pytest.approx(OXYCALORIC_J_PER_MOL, rel=0.02)
    assert heat_w_from_o2(O2_KG_PER_MOL, per_mol_o2) == pytest.approx(per_mol_o2)


def test_calorimetry_of_growing_cultures_lies_inside_the_band() -> None:
    # Birou, Marison and von Stockar 1987: 440 kJ per mol O2 through all their runs
    assert heat_w_from_o2(O2_KG_PER_MOL, 440e3) == pytest.approx(440e3)


def test_heat_and_co2_undo_each_other() -> None:
    assert heat_w_from_co2(co2_kg_per_s_from_heat(27.6, 0.8), 0.8) == pytest.approx(27.6)


def test_oxygen_and_co2_say_the_same_at_a_quotient_of_one() -> None:
    assert heat_w_from_co2(CO2_KG_PER_MOL) == pytest.approx(heat_w_from_o2(O2_KG_PER_MOL))


def test_a_heat_per_mole_in_the_wrong_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="check the unit"):
        heat_w_from_co2(1e-6, 1.0, 460)


def test_a_quotient_of_fermentation_is_refused() -> None:
    with pytest.raises(ValueError, match="without oxygen"):
        heat_w_from_co2(1e-6, 41)
