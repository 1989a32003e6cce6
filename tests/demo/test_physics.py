"""The invented room's own physics against closed forms and published values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from demo.physics import SHELLS, Bags, Bodies, Crop, added_share, cardinal, film_w_m2_k
from demo.rooms import FIRST, NEVER, OYSTER, make_room


def one_bag(**changes: float) -> Bags:
    """A 2.65 kg bag (0.15 m across) that only gives the heat it is told to."""
    usual: dict[str, float] = {
        "mass_kg": 2.65, "conductivity_w_m_k": 0.30, "crowding": 0.0, "inoculated_s": NEVER,
        "peak_w_per_kg": 1.0, "rate_per_s": 3e-5, "inoculum": 1e-3, "keep": 0.2,
        "added_w": 0.0, "added_from_s": 0.0, "added_rise_s": 1.0, "added_hold_s": NEVER,
        "added_fade_s": 1e5, "stall_from_s": NEVER, "stall_fade_s": 3600.0,
        "shaken_s": NEVER, "shake_pause_s": 0.0,
    }  # fmt: skip
    return Bags(**{name: np.array([value]) for name, value in (usual | changes).items()})


def settle(bags: Bags, air_c: float = 24.0, hours: int = 40) -> tuple[Bodies, float]:
    bodies = Bodies(bags, [OYSTER], np.array([air_c]))
    loss_w = np.zeros(1)
    for minute in range(1, hours * 60):
        loss_w = bodies.step(60.0 * minute, 60.0, np.array([air_c]), np.array([air_c]))
    return bodies, float(loss_w[0])


def test_a_steady_bag_loses_what_it_makes() -> None:
    """Energy closure: an identity."""
    _, loss_w = settle(one_bag(added_w=2.65))
    assert loss_w == pytest.approx(2.65, rel=1e-3)


def test_core_stands_over_the_surface_as_in_a_cylinder_with_even_heat() -> None:
    """Infinite cylinder: qr²/4k (Carslaw & Jaeger 1959); here 500 W/m³, r 0.075 m: 2.34 K."""
    bags = one_bag(added_w=2.65)
    bodies, _ = settle(bags)
    exact_k = 500.0 * float(bags.radius_m[0]) ** 2 / (4 * 0.30)
    over_k = float(bodies.core_c[0] - bodies.surface_c[0])
    # shell 0 is a mean over the inner eighth of the radius, not the axis itself
    assert over_k == pytest.approx(exact_k * (1 - 0.5 / SHELLS**2), rel=0.01)


def test_the_standard_bag_is_as_warm_at_its_side_as_a_finite_cylinder() -> None:
    """Finite volume, D 0.15 m, H 0.30 m, h 8 on all faces, 1 W/kg: side 2.24 K, as q/h goes."""
    bodies, _ = settle(one_bag(added_w=2.65))
    over_k = float(bodies.surface_c[0]) - 24.0
    film = float(film_w_m2_k(np.array([24.0 + over_k]), np.array([24.0]), np.array([0.30]))[0])
    radiant = 4 * 0.95 * 5.670374419e-8 * (297.15 + over_k / 2) ** 3
    assert over_k == pytest.approx(2.24 * 8.0 / (film + radiant), rel=0.01)


def test_film_agrees_with_the_plate_of_churchill_and_chu() -> None:
    """27 °C in 24 °C air, 0.30 m: 2.54 W/(m² K) by Churchill & Chu (1975), draughts apart."""
    film = film_w_m2_k(np.array([27.0]), np.array([24.0]), np.array([0.30]))
    assert float(film[0]) - 0.8 == pytest.approx(2.54, rel=0.02)


def test_growth_is_best_at_its_best_temperature_and_nil_outside_its_cardinals() -> None:
    """Rosso, Lobry, Bajard, Flandrois 1993: 1 at the optimum with slope 0, 0 at both ends."""
    crop = Crop(5.0, 26.0, 35.0)
    at = cardinal(np.array([0.0, 5.0, 25.9, 26.0, 26.1, 35.0, 50.0]), crop)
    assert at[3] == 1.0 and at[2] < 1.0 > at[4]
    assert list(at[[0, 1, 5, 6]]) == [0.0, 0.0, 0.0, 0.0]


def test_warmth_makes_a_bag_run_faster() -> None:
    bags = one_bag(inoculated_s=0.0)
    cool, _ = settle(bags, air_c=18.0)
    warm, _ = settle(bags, air_c=24.0)
    assert warm.colonised.mean() > 1.5 * cool.colonised.mean()


def test_a_stalled_bag_ends_at_the_air_around_it() -> None:
    bodies, _ = settle(one_bag(inoculated_s=0.0, inoculum=0.5, stall_from_s=0.0), hours=60)
    assert float(bodies.surface_c[0]) == pytest.approx(24.0, abs=0.02)


def test_warm_neighbours_keep_a_bag_warm() -> None:
    def with_neighbours(neighbours_c: float) -> float:
        bodies = Bodies(one_bag(added_w=2.65, crowding=0.4), [OYSTER], np.array([24.0]))
        for minute in range(1, 2400):
            bodies.step(60.0 * minute, 60.0, np.array([24.0]), np.array([neighbours_c]))
        return float(bodies.surface_c[0])

    assert with_neighbours(27.0) - with_neighbours(24.0) > 0.5


def test_added_heat_rises_holds_and_fades() -> None:
    bags = one_bag(added_from_s=1e5, added_rise_s=1e4, added_hold_s=1e5, added_fade_s=5e4)
    share = [float(added_share(bags, at_s)[0]) for at_s in (0.0, 1e5, 2e5, 3e5)]
    assert share[0] < 1e-4 and share[1] == 0.5 and share[2] > 0.99
    assert share[3] == pytest.approx(np.exp(-2.0), rel=0.01)


def test_all_shells_stay_steady_in_the_smallest_bags_of_the_families() -> None:
    """The explicit conduction must not swing: no shell may cool below the air."""
    room = make_room(replace(FIRST, mass_kg=0.9, conductivity=(0.38, 0.38)), 3)
    bodies = Bodies(room.bags, [OYSTER] * len(room.bags.mass_kg), np.full(len(room.shelf), 30.0))
    air_c = np.full(len(room.shelf), 20.0)
    for minute in range(600):
        bodies.step(60.0 * minute, 60.0, air_c, air_c)
        assert bodies.temperature_c.min() >= 20.0
        assert (np.diff(bodies.temperature_c, axis=0) < 1e-9).all()
