"""Fillings beside the Wood Handbook and what compost was measured to hold."""

from __future__ import annotations

import pytest

from monitor.thermal.substrate import (
    SUBSTRATES,
    bag_shape,
    dry_wood_cp,
    mixture_cp,
    substrate_in,
    wet_wood_cp,
    wood_conductivity,
)


def test_dry_wood_at_24_holds_1252() -> None:
    # Wood Handbook, chapter 4
    assert dry_wood_cp(24) == pytest.approx(1252.2, abs=0.1)


def test_damp_wood_matches_the_handbooks_example() -> None:
    # Wood Handbook equations: 340 K, 12 %: 1.91 kJ/(kg K)
    assert wet_wood_cp(340 - 273.15, 12) == pytest.approx(1914.6, abs=0.5)


@pytest.mark.parametrize(("water", "cp"), [(0.55, 2862), (0.60, 3009), (0.65, 3155), (0.70, 3302)])
def test_wet_sawdust_follows_the_mixture_rule(water: float, cp: float) -> None:
    assert mixture_cp(water) == pytest.approx(cp, abs=1)


def test_mixture_and_siebels_rule_differ_by_a_fair_five_per_cent() -> None:
    # Siebel 1892, from memory: 0.837 + 3.349 w
    siebel = 837 + 3349 * 0.60
    assert siebel == pytest.approx(2846, abs=1)
    assert mixture_cp(0.60) == pytest.approx(siebel, rel=0.06)


def test_wood_conducts_across_the_grain_as_the_handbook_says() -> None:
    assert wood_conductivity(0.5, 12) == pytest.approx(0.1401, abs=1e-4)


def test_every_filling_has_a_diffusivity_near_that_of_moist_substrates() -> None:
    # all moist substrates land near 2e-7 m²/s, 30 % either way (Ahn 2009 ranges, computed)
    for kind, filling in SUBSTRATES.items():
        density_cp = filling.density_kg_per_m3 * mixture_cp(filling.water_share)
        diffusivity = filling.conductivity_w_per_m_k / density_cp
        assert diffusivity == pytest.approx(2e-7, rel=0.35), kind


@pytest.mark.parametrize(("kind", "cp"), [("sawdust", 3000), ("straw", 3100), ("grain", 2600)])
def test_every_filling_holds_the_usual_heat(kind: str, cp: float) -> None:
    assert mixture_cp(SUBSTRATES[kind].water_share) == pytest.approx(cp, rel=0.02)


def test_a_bag_of_2_65_kg_is_15_cm_across_and_30_high() -> None:
    shape = bag_shape(2.6507, SUBSTRATES["sawdust"])
    assert 2 * shape.radius_m == pytest.approx(0.150, abs=1e-4)
    assert shape.height_m == pytest.approx(0.300, abs=1e-4)
    assert shape.volume_m3 * 500 == pytest.approx(2.6507)


def test_a_bag_kind_is_read_from_free_text() -> None:
    assert substrate_in("Straw column, 8 kg") == "straw"
    assert substrate_in("5 lb, filter patch") == "sawdust"
    assert substrate_in("") == "sawdust"


@pytest.mark.parametrize("mass_kg", [0, -2.5, 0.01, 900, float("nan")])
def test_a_mass_that_is_no_bags_is_refused(mass_kg: float) -> None:
    with pytest.raises(ValueError, match="kg"):
        bag_shape(mass_kg, SUBSTRATES["sawdust"])


def test_water_beyond_the_formulas_is_refused() -> None:
    with pytest.raises(ValueError, match="mixture_cp"):
        wet_wood_cp(24, 150)
    with pytest.raises(ValueError, match="outside 0 to 1"):
        mixture_cp(60)
    with pytest.raises(ValueError, match="25 %"):
        wood_conductivity(0.5, 60)
