"""Steady warmth inside a body that makes heat, beside textbooks and a finite-volume solver."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import spsolve
from scipy.special import ive

from monitor.thermal.conduction import (
    bag_rise,
    bessel_ratio,
    centre_over_surface_k,
    core_and_side,
    slab_eigenvalues,
    surface_over_air_k,
)
from monitor.thermal.film import Films
from monitor.thermal.substrate import Cylinder

BAG = Cylinder(0.075, 0.30)


@pytest.mark.parametrize(
    ("form", "rise_k"), [("slab", 4.6875), ("cylinder", 2.34375), ("sphere", 1.5625)]
)
def test_centre_and_surface_rise_alike_when_biot_is_two(form: str, rise_k: float) -> None:
    assert centre_over_surface_k(form, 500, 0.075, 0.30) == pytest.approx(rise_k)  # type: ignore[arg-type]
    assert surface_over_air_k(form, 500, 0.075, 8) == pytest.approx(rise_k)  # type: ignore[arg-type]


def test_composite_wall_of_the_textbook_has_its_three_temperatures() -> None:
    # Incropera, example 3.7 (from memory): 50 mm making heat, 20 mm passive, 140, 115, 105 °C
    outer = 30 + surface_over_air_k("slab", 1.5e6, 0.050, 1000)
    between = outer + 1.5e6 * 0.050 * 0.020 / 150
    inner = between + centre_over_surface_k("slab", 1.5e6, 0.050, 75)
    assert (inner, between, outer) == pytest.approx((140, 115, 105), abs=0.01)


def test_wire_in_boiling_water_has_the_centre_the_problem_asks_for() -> None:
    # Cengel, problem 2-97: r 6 mm, k 15.2, 16.4 W/cm³, h 3200, water 100 °C; 125.09 computed
    surface = 100 + surface_over_air_k("cylinder", 16.4e6, 0.006, 3200)
    centre = surface + centre_over_surface_k("cylinder", 16.4e6, 0.006, 15.2)
    assert centre == pytest.approx(125.09, abs=0.02)


def test_wires_of_the_tutorial_sheet_come_out() -> None:
    # a published tutorial sheet (statements only): at 2 mm in a 5 mm wire; 2 kW in 6 m of 2 mm
    inside = centre_over_surface_k("cylinder", 5e7, 0.005, 8) - centre_over_surface_k(
        "cylinder", 5e7, 0.002, 8
    )
    assert 180 + inside == pytest.approx(212.81, abs=0.01)
    q = 2000 / (6 * np.pi * 0.001**2)
    assert 30 + surface_over_air_k("cylinder", q, 0.001, 140) == pytest.approx(408.9, abs=0.1)
    # one homework site prints 50 °C for this one; the balance says otherwise
    assert 20 + surface_over_air_k("cylinder", q, 0.001, 175) == pytest.approx(323.2, abs=0.1)


def test_a_pile_ten_bags_high_would_settle_54_k_above_its_faces() -> None:
    assert centre_over_surface_k("slab", 130, 0.5, 0.30) == pytest.approx(54.2, abs=0.1)


def test_standard_bag_has_its_core_side_and_mean() -> None:
    rise = bag_rise(BAG, 500, 0.30, Films(8, 8))
    assert rise.core_k == pytest.approx(4.465, rel=1e-3)
    assert rise.side_k == pytest.approx(2.242, rel=1e-3)
    assert rise.mean_k == pytest.approx(2.909, rel=1e-3)
    assert 500 * BAG.volume_m3 == pytest.approx(2.651, abs=1e-3)


@pytest.mark.parametrize(
    ("diameter_m", "height_m", "core", "side", "ratio"),
    [
        (0.10, 0.20, 2.44, 1.47, 1.66),
        (0.15, 0.30, 4.47, 2.24, 1.99),
        (0.20, 0.35, 6.84, 2.96, 2.31),
        (0.25, 0.40, 9.65, 3.66, 2.64),
    ],
)
def test_bags_of_other_sizes_match_the_table(
    diameter_m: float, height_m: float, core: float, side: float, ratio: float
) -> None:
    shape = Cylinder(diameter_m / 2, height_m)
    rise = bag_rise(shape, 500, 0.30, Films(8, 8))
    assert (rise.core_k, rise.side_k) == pytest.approx((core, side), abs=0.006)
    core_k, side_k = core_and_side(shape, [0.30], [Films(8, 8)])
    assert core_k[0] / side_k[0] == pytest.approx(ratio, abs=0.006)


@pytest.mark.parametrize(
    ("k", "film", "side", "core"),
    [
        (0.15, 8, 2.28, 6.81),
        (0.20, 8, 2.27, 5.64),
        (0.45, 8, 2.21, 3.67),
        (0.30, 6, 2.96, 5.16),
        (0.30, 10, 1.81, 4.04),
    ],
)
def test_surface_reads_heat_through_the_film_and_the_core_needs_conductivity(
    k: float, film: float, side: float, core: float
) -> None:
    rise = bag_rise(BAG, 500, k, Films(film, film))
    assert (rise.side_k, rise.core_k) == pytest.approx((side, core), abs=0.006)


@pytest.mark.parametrize(
    ("shape", "k", "films"),
    [
        (BAG, 0.30, Films(8, 8)),
        (BAG, 0.30, Films(4, 7.5)),
        (Cylinder(0.12, 0.15), 0.20, Films(6, 3)),
        (Cylinder(0.05, 0.60), 0.45, Films(10, 10)),
    ],
)
def test_series_agrees_with_a_finite_volume_solver(shape: Cylinder, k: float, films: Films) -> None:
    core, side, mean = _finite_volumes(shape, 500, k, films)
    rise = bag_rise(shape, 500, k, films)
    assert rise.core_k == pytest.approx(core, rel=2e-3)
    assert rise.side_k == pytest.approx(side, rel=2e-3)
    assert rise.mean_k == pytest.approx(mean, rel=2e-3)


def _finite_volumes(
    shape: Cylinder, q: float, k: float, films: Films, cells: int = 60
) -> tuple[float, float, float]:
    """Core, mid-height side and mean by balances over rings of the upper half."""
    nr = nz = cells
    dr, dz = shape.radius_m / nr, shape.height_m / 2 / nz
    edge = np.arange(nr + 1) * dr
    area = np.pi * (edge[1:] ** 2 - edge[:-1] ** 2)
    entries: list[tuple[int, int, float]] = []
    source = np.outer(area, np.full(nz, dz)) * q

    def couple(a: int, b: int | None, w: float) -> None:
        entries.append((a, a, w))
        if b is not None:
            entries.extend([(b, b, w), (a, b, -w), (b, a, -w)])

    skin = 1 / (1 / films.side_w_per_m2_k + dr / 2 / k)
    lid = 1 / (1 / films.end_w_per_m2_k + dz / 2 / k)
    for i in range(nr):
        for j in range(nz):
            here = i * nz + j
            if i + 1 < nr:
                couple(here, here + nz, k * 2 * np.pi * edge[i + 1] * dz / dr)
            else:
                couple(here, None, skin * 2 * np.pi * shape.radius_m * dz)
            if j + 1 < nz:
                couple(here, here + 1, k * area[i] / dz)
            else:
                couple(here, None, lid * area[i])
    rows, cols, values = zip(*entries, strict=True)
    size = nr * nz
    t = spsolve(coo_matrix((values, (rows, cols)), shape=(size, size)).tocsr(), source.ravel())
    t = t.reshape(nr, nz)
    side = t[-1, 0] * skin / films.side_w_per_m2_k
    return float(t[0, 0]), float(side), float(np.sum(t * area[:, None]) / np.sum(area) / nz)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.03, 0.2),
    st.floats(0.25, 4.0),
    st.floats(0.1, 0.6),
    st.floats(2, 15),
    st.floats(2, 15),
)
def test_a_steady_bag_loses_what_it_makes(
    radius: float, proportion: float, k: float, side: float, end: float
) -> None:
    shape = Cylinder(radius, 2 * radius * proportion)
    rise = bag_rise(shape, 500, k, Films(side, end))
    lost = side * shape.side_m2 * rise.side_mean_k + end * 2 * shape.end_m2 * rise.end_mean_k
    assert lost == pytest.approx(500 * shape.volume_m3, rel=1e-6)


def test_a_lumped_bag_misses_the_mean_by_a_kelvin() -> None:
    lumped = 500 * BAG.volume_m3 / (8 * (BAG.side_m2 + 2 * BAG.end_m2))
    assert lumped == pytest.approx(1.875, abs=1e-3)
    assert bag_rise(BAG, 500, 0.30, Films(8, 8)).mean_k - lumped == pytest.approx(1.0, abs=0.05)


def test_a_very_long_bag_is_an_endless_cylinder_and_a_very_flat_one_a_slab() -> None:
    long = bag_rise(Cylinder(0.075, 3.0), 500, 0.30, Films(8, 8))
    assert long.core_k == pytest.approx(2 * 2.34375, rel=1e-4)
    flat = bag_rise(Cylinder(3.0, 0.15), 500, 0.30, Films(8, 8))
    assert flat.core_k == pytest.approx(2 * 4.6875, rel=1e-4)


def test_bessel_ratio_agrees_with_scipy() -> None:
    x = np.concatenate(([0.0], np.geomspace(1e-3, 2000, 400)))
    assert bessel_ratio(x) == pytest.approx(ive(1, x) / ive(0, x), abs=3e-8)


@pytest.mark.parametrize("biot", [1e-4, 0.01, 1, 100, 1e5])
def test_slab_roots_solve_their_equation_one_in_each_branch(biot: float) -> None:
    roots = slab_eigenvalues(biot, 30)
    assert roots * np.sin(roots) - biot * np.cos(roots) == pytest.approx(0, abs=1e-7 * (1 + biot))
    assert np.all(np.floor(roots / np.pi) == np.arange(30))


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="conductivity"):
        bag_rise(BAG, 500, 0, Films(8, 8))
    with pytest.raises(ValueError, match="above 0"):
        surface_over_air_k("slab", 500, 0.05, 0)
    with pytest.raises(ValueError, match="above 0"):
        centre_over_surface_k("slab", 500, -1, 0.3)
    with pytest.raises(ValueError, match="Biot"):
        slab_eigenvalues(-1, 4)
    with pytest.raises(ValueError, match="radius"):
        Cylinder(0, 0.3)
