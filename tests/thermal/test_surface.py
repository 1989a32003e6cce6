"""Heat and core from what a probe or a hand thermometer shows."""

from __future__ import annotations

import pytest

from monitor.thermal.bag import describe_bag
from monitor.thermal.conduction import bag_rise
from monitor.thermal.surface import (
    HAND_INFRARED,
    TAPED_PROBE,
    Contact,
    core_from_surface,
    heat_from_surface,
)

BAG = describe_bag(2.65)


def test_heat_and_core_come_back_from_the_excess_a_perfect_probe_shows() -> None:
    rise = bag_rise(BAG.shape, 500, 0.30, BAG.films)
    perfect = Contact(1.0, 1.0, 1.0)
    assert heat_from_surface(rise.side_k, BAG, perfect).value == pytest.approx(
        500 * BAG.shape.volume_m3
    )
    assert core_from_surface(rise.side_k, BAG, perfect).value == pytest.approx(rise.core_k)


def test_a_taped_probe_shows_less_than_there_is() -> None:
    taped = heat_from_surface(1.0, BAG, TAPED_PROBE)
    hand = heat_from_surface(1.0, BAG, HAND_INFRARED)
    assert taped.value == pytest.approx(hand.value / 0.85)
    assert taped.low < hand.value < taped.high


def test_core_interval_holds_the_range_of_conductivity() -> None:
    perfect = Contact(1.0, 1.0, 1.0)
    shown = bag_rise(BAG.shape, 500, 0.30, BAG.films).side_k
    found = core_from_surface(shown, BAG, perfect)
    for conductivity in (0.21, 0.44):
        truth = bag_rise(BAG.shape, 500, conductivity, BAG.films)
        assert found.low < truth.core_k < found.high


def test_a_noisy_reading_widens_the_interval() -> None:
    quiet = core_from_surface(1.0, BAG)
    noisy = core_from_surface(1.0, BAG, excess_sd_k=0.5)
    assert noisy.value == quiet.value
    assert noisy.low < quiet.low
    assert noisy.high > quiet.high


def test_a_bag_as_warm_as_its_air_makes_no_heat_with_the_noise_as_its_interval() -> None:
    found = heat_from_surface(0.0, BAG, excess_sd_k=0.1)
    assert found.value == 0
    assert found.high == pytest.approx(-found.low)
    assert found.high == pytest.approx(BAG.loss_w_per_k / 0.85 * 0.12816, rel=1e-3)


def test_a_cold_bag_mirrors_a_warm_one() -> None:
    warm, cold = core_from_surface(0.8, BAG), core_from_surface(-0.8, BAG)
    assert (cold.low, cold.value, cold.high) == pytest.approx((-warm.high, -warm.value, -warm.low))


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="deviation"):
        heat_from_surface(1.0, BAG, excess_sd_k=-1)
    with pytest.raises(ValueError, match="contact"):
        Contact(0.5, 0.6, 0.9)
