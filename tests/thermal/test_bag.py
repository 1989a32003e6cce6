"""A bag's constants hang together and agree with the standard bag."""

from __future__ import annotations

import pytest

from monitor.thermal.bag import describe_bag, from_neighbours_w_per_k, loss_at, with_lag
from monitor.thermal.conduction import bag_rise
from monitor.thermal.substrate import SUBSTRATES
from monitor.thermal.transient import lag_modes


def test_the_standard_bag_has_a_core_twice_as_warm_as_its_side() -> None:
    bag = describe_bag(2.65)
    assert bag.core_per_surface == pytest.approx(1.99, abs=0.04)
    assert bag.core_per_surface_low < bag.core_per_surface < bag.core_per_surface_high
    # from k 0.45 and 0.20 alone: 3.67/2.21 and 5.64/2.27
    assert bag.core_per_surface_low == pytest.approx(1.66, abs=0.08)
    assert bag.core_per_surface_high == pytest.approx(2.49, abs=0.08)


def test_a_five_pound_bag_loses_about_a_watt_a_kelvin_and_lags_about_two_hours() -> None:
    # growers' estimate for a 5 lb bag (common practice, no source): 1 W/K, 2 h
    bag = describe_bag(2.27)
    assert bag.loss_w_per_k == pytest.approx(1.0, rel=0.15)
    assert bag.lag_s / 3600 == pytest.approx(2.0, rel=0.15)


def test_capacity_is_loss_times_lag() -> None:
    bag = describe_bag(3.1, "straw", 0.6, 0.5)
    assert bag.heat_capacity_j_per_k == pytest.approx(bag.loss_w_per_k * bag.lag_s)
    assert bag.core_lag_s == pytest.approx(bag.lag_s * bag.core_per_surface)


def test_loss_turns_the_excess_of_the_side_back_into_all_the_heat() -> None:
    bag = describe_bag(2.65)
    conductivity = SUBSTRATES["sawdust"].conductivity_w_per_m_k
    rise = bag_rise(bag.shape, 500, conductivity, bag.films)
    assert bag.loss_w_per_k * rise.side_k == pytest.approx(500 * bag.shape.volume_m3)


def test_warm_neighbours_and_a_warm_shelf_keep_heat_in() -> None:
    free = describe_bag(2.65, open_view=1.0)
    row = describe_bag(2.65, open_view=0.5)
    shelf = describe_bag(2.65, open_view=0.5, floor_contact=1.0)
    assert free.loss_w_per_k > row.loss_w_per_k > shelf.loss_w_per_k
    assert free.lag_s < row.lag_s < shelf.lag_s


@pytest.mark.parametrize("excess_k", [0.3, 0.5, 4.0, 8.0])
def test_a_warmer_bag_loses_more_a_kelvin_as_its_own_film_says(excess_k: float) -> None:
    """Against the whole series of conduction with films taken at that warmth."""
    bag = describe_bag(2.4)
    told = describe_bag(2.4, excess_k=excess_k).loss_w_per_k
    assert loss_at(bag, excess_k) == pytest.approx(told, rel=0.02)
    assert (told > bag.loss_w_per_k) is (excess_k > 1.5)


def test_convection_of_a_plate_grows_by_half_from_one_to_five_kelvin() -> None:
    """As the fourth root of the warmth (McAdams 1954, laminar plate): a factor of 1.50."""
    bag = describe_bag(2.4)
    radiant = 0.95 * 4.0 * 5.670374419e-8 * 297.9**3
    shares = [loss_at(bag, k) / bag.loss_w_per_k * bag.films.side_w_per_m2_k for k in (1.0, 5.0)]
    assert (shares[1] - radiant) / (shares[0] - radiant) == pytest.approx(1.50, rel=0.1)


@pytest.mark.parametrize("kind", sorted(SUBSTRATES))
@pytest.mark.parametrize("mass_kg", [1.0, 2.4, 5.0])
def test_the_side_trails_heat_made_inside_as_the_modes_say(mass_kg: float, kind: str) -> None:
    """Σ w τ² / Σ w τ of the product solution (Carslaw and Jaeger 1959): the mean delay of the
    side behind a step of uniform generation."""
    bag = describe_bag(mass_kg, kind)
    side = lag_modes(bag).side
    delay_s = (side.weight * side.tau_s**2).sum() / (side.weight * side.tau_s).sum()
    assert bag.heat_lag_s == pytest.approx(delay_s, rel=0.07)
    assert bag.heat_lag_s > 1.2 * bag.lag_s


def test_neighbours_as_warm_as_the_bag_leave_it_the_loss_of_a_row() -> None:
    bag = describe_bag(2.4)
    row = describe_bag(2.4, open_view=0.75)
    assert bag.loss_w_per_k - from_neighbours_w_per_k(bag, 0.75) == pytest.approx(row.loss_w_per_k)
    assert from_neighbours_w_per_k(bag, 0.75) == pytest.approx(0.17 * bag.loss_w_per_k, rel=0.03)
    assert from_neighbours_w_per_k(bag, 1.0) == 0.0


def test_a_heavier_bag_loses_more_follows_later_and_hides_a_warmer_core() -> None:
    small, large = describe_bag(0.8), describe_bag(5.5)
    assert small.loss_w_per_k < large.loss_w_per_k
    assert small.lag_s < large.lag_s
    assert small.core_per_surface < large.core_per_surface


def test_a_bag_asked_for_twice_is_the_same() -> None:
    assert describe_bag(2.41) is describe_bag(2.41)


def test_a_learned_lag_tells_the_loss() -> None:
    bag = describe_bag(2.4)
    quick = with_lag(bag, bag.lag_s / 1.25)
    assert quick.loss_w_per_k == pytest.approx(1.25 * bag.loss_w_per_k)
    assert quick.heat_capacity_j_per_k == pytest.approx(quick.loss_w_per_k * quick.lag_s)
    assert quick.core_per_surface > bag.core_per_surface
    same = with_lag(bag, bag.lag_s)
    assert (same.films, same.loss_w_per_k) == (bag.films, bag.loss_w_per_k)
    assert same.core_lag_s == pytest.approx(bag.core_lag_s)


@pytest.mark.parametrize("hours", [0.0, 0.2, 24.0, -1.0, float("nan")])
def test_a_lag_that_no_such_bag_has_is_refused(hours: float) -> None:
    with pytest.raises(ValueError, match="lag"):
        with_lag(describe_bag(2.4), hours * 3600)


def test_what_is_no_bag_is_refused() -> None:
    with pytest.raises(ValueError, match="kg"):
        describe_bag(-2)
    with pytest.raises(ValueError, match="known are sawdust"):
        describe_bag(2.4, "gravel")
    with pytest.raises(ValueError, match="shares"):
        describe_bag(2.4, open_view=2)
