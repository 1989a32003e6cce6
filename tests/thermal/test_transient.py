"""Eigenvalues and cooling beside Cengel's printed table and computed multi-term solutions."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.thermal.bag import describe_bag, with_lag
from monitor.thermal.conduction import slab_coefficients, slab_eigenvalues
from monitor.thermal.film import Films
from monitor.thermal.substrate import Cylinder
from monitor.thermal.transient import (
    cylinder_coefficients,
    cylinder_eigenvalues,
    cylinder_modes,
    lag_modes,
    lumped_lag_s,
    lumped_step_c,
    sphere_coefficients,
    sphere_eigenvalues,
)

BAG = Cylinder(0.075, 0.30)
#: Biot; first root and coefficient of cylinder, slab, sphere. Cengel, table 4-2 to Bi 10 (four
#: decimals, so 5e-5 of rounding); Bi 100 computed.
TABLE = [
    (0.01, 0.1412, 1.0025, 0.0998, 1.0017, 0.1730, 1.0030),
    (0.1, 0.4417, 1.0246, 0.3111, 1.0161, 0.5423, 1.0298),
    (0.3, 0.7465, 1.0712, 0.5218, 1.0450, 0.9208, 1.0880),
    (0.5, 0.9408, 1.1143, 0.6533, 1.0701, 1.1656, 1.1441),
    (1, 1.2558, 1.2071, 0.8603, 1.1191, 1.5708, 1.2732),
    (2, 1.5995, 1.3384, 1.0769, 1.1785, 2.0288, 1.4793),
    (3, 1.7887, 1.4191, 1.1925, 1.2102, 2.2889, 1.6227),
    (5, 1.9898, 1.5029, 1.3138, 1.2402, 2.5704, 1.7870),
    (10, 2.1795, 1.5677, 1.4289, 1.2620, 2.8363, 1.9249),
    (100, 2.3809, 1.6015, 1.5552, 1.2731, 3.1102, 1.9990),
]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"Bi {row[0]}")
def test_first_terms_match_the_printed_table(row: tuple[float, ...]) -> None:
    biot, *printed = row
    found: list[float] = []
    for roots, weights in (
        (cylinder_eigenvalues(biot, 1), cylinder_coefficients),
        (slab_eigenvalues(biot, 1), slab_coefficients),
        (sphere_eigenvalues(biot, 1), sphere_coefficients),
    ):
        found += [roots[0], weights(roots)[0]]
    assert found == pytest.approx(printed, abs=1e-4)


def test_cylinder_root_at_biot_two_has_five_places() -> None:
    assert cylinder_eigenvalues(2, 1)[0] == pytest.approx(1.59945, abs=1e-5)


@pytest.mark.parametrize("biot", [0.01, 1.0, 50.0])
def test_no_root_is_missed(biot: float) -> None:
    for roots in (cylinder_eigenvalues(biot, 20), sphere_eigenvalues(biot, 20)):
        assert np.all(np.diff(roots) > 0)
        assert np.diff(roots)[2:] == pytest.approx(np.pi, abs=0.35)


def test_weights_sum_to_one_at_the_start() -> None:
    roots = slab_eigenvalues(2.0, 40)
    assert np.sum(slab_coefficients(roots)) == pytest.approx(1, abs=1e-3)
    modes = cylinder_modes(BAG, 0.30, 1.5e6, Films(8, 8), count=40)
    assert np.sum(modes.side.weight) == pytest.approx(1, abs=0.02)
    assert np.sum(modes.mean.weight) == pytest.approx(1, abs=1e-3)


def test_standard_bag_cools_as_computed() -> None:
    modes = cylinder_modes(BAG, 0.30, 1.5e6, Films(8, 8))
    hours = np.array([2.0, 4.0, 6.0, 8.0])
    assert modes.core.tau_s[0] / 3600 == pytest.approx(2.641, abs=2e-3)
    assert modes.core.left(hours * 3600) == pytest.approx(
        [0.6887, 0.3457, 0.1665, 0.0789], rel=1e-2
    )
    assert modes.side.left(7200.0) == pytest.approx(0.3174, rel=1e-2)


def test_one_term_alone_is_too_warm_at_two_hours() -> None:
    core = cylinder_modes(BAG, 0.30, 1.5e6, Films(8, 8)).core
    alone = core.weight[0] * np.exp(-np.array([2.0, 4.0, 6.0, 8.0]) * 3600 / core.tau_s[0])
    assert alone == pytest.approx([0.7712, 0.3616, 0.1696, 0.0795], rel=1e-2)
    assert alone[0] > core.left(7200.0) * 1.1


@pytest.mark.parametrize("mass_kg", [0.8, 2.65, 5.5])
@pytest.mark.parametrize("open_view", [0.3, 1.0])
def test_one_lag_is_the_first_moment_of_all_modes(mass_kg: float, open_view: float) -> None:
    bag = describe_bag(mass_kg, open_view=open_view)
    modes = lag_modes(bag)
    assert modes.side.mean_delay_s == pytest.approx(bag.lag_s, rel=1e-5)
    assert modes.core.mean_delay_s == pytest.approx(bag.core_lag_s, rel=1e-5)


def test_a_learned_lag_moves_the_modes_with_it() -> None:
    bag = with_lag(describe_bag(2.65), 5400)
    assert lag_modes(bag).side.mean_delay_s == pytest.approx(5400, rel=0.03)


def test_a_lumped_bag_cools_too_soon() -> None:
    lag = lumped_lag_s(1.5e6 * BAG.volume_m3, 8 * (BAG.side_m2 + 2 * BAG.end_m2))
    assert lag == pytest.approx(5625, abs=1)
    assert lumped_step_c(30, 24, 3600, lag) == pytest.approx(27.164, abs=1e-3)
    assert lumped_step_c(30, 24, 7200, lag) == pytest.approx(25.668, abs=1e-3)
    mean = 24 + 6 * cylinder_modes(BAG, 0.30, 1.5e6, Films(8, 8)).mean.left(7200.0)
    assert mean > 26


def test_thermocouple_bead_of_the_textbook_takes_5_2_seconds() -> None:
    # Incropera, example 5.1 (from memory): D 0.706 mm, 8500 kg/m³, 400 J/(kg K), h 400, tau 1 s
    diameter_m = 0.706e-3
    lag = lumped_lag_s(8500 * np.pi * diameter_m**3 / 6 * 400, 400 * np.pi * diameter_m**2)
    assert lag == pytest.approx(1.0, abs=2e-3)
    assert lumped_step_c(25, 200, 5.17, 1.0) == pytest.approx(199, abs=0.01)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="Biot"):
        cylinder_eigenvalues(0, 3)
    with pytest.raises(ValueError, match="Biot"):
        sphere_eigenvalues(-1, 3)
    with pytest.raises(ValueError, match="modes need"):
        cylinder_modes(BAG, 0, 1.5e6, Films(8, 8))
    with pytest.raises(ValueError, match="lag"):
        lumped_lag_s(5000, 0)
    with pytest.raises(ValueError, match="lag"):
        lumped_step_c(30, 24, -1, 5000)
