"""Local air by shelf and its lag through the bag."""

from __future__ import annotations

import json
import math

import pytest

from monitor.judge.local_air import LagBank, interpolate_air, lag_step

SHELVES = [(1.0, 20.0), (3.0, 21.0), (5.0, 23.0)]


@pytest.mark.parametrize(
    ("shelf", "expected"), [(1, 20.0), (2, 20.5), (3, 21.0), (4, 22.0), (5, 23.0), (7, 23.0)]
)
def test_air_is_linear_between_shelves_and_held_beyond_them(shelf: int, expected: float) -> None:
    assert interpolate_air(SHELVES, shelf) == pytest.approx(expected)
    assert interpolate_air(list(reversed(SHELVES)), shelf) == pytest.approx(expected)


def test_one_probe_serves_every_shelf() -> None:
    assert interpolate_air([(3.0, 21.5)], 1) == 21.5
    assert interpolate_air([(None, 21.5)], 5) == 21.5


def test_probes_of_one_shelf_are_averaged_and_unknown_shelves_take_the_mean() -> None:
    assert interpolate_air([(2.0, 20.0), (2.0, 22.0)], 2) == 21.0
    assert interpolate_air(SHELVES, None) == pytest.approx(64.0 / 3)
    assert interpolate_air([], 2) is None


def test_a_step_reaches_63_per_cent_after_one_lag() -> None:
    # Incropera and DeWitt, lumped capacitance: 1 - 1/e after one time constant
    assert lag_step(20.0, 21.0, 7200.0, 7200.0) == pytest.approx(20.0 + 1.0 - math.exp(-1.0))


def test_many_short_steps_equal_one_long_one() -> None:
    lagged = 20.0
    for _ in range(72):
        lagged = lag_step(lagged, 23.0, 100.0, 9000.0)
    assert lagged == pytest.approx(lag_step(20.0, 23.0, 7200.0, 9000.0), abs=1e-10)


def test_thermostat_saw_tooth_reaches_the_bag_at_a_few_per_cent() -> None:
    # A 20 min, 1.5 K cycle on a 2 h body: about 3 % (first-order gain 1/(w tau) = 2.7 %)
    bank, swing = LagBank(), []
    for step in range(2400):
        air_c = 21.0 + 0.75 * math.sin(2 * math.pi * step / 20)
        lagged = bank.step(60.0 * step, {"B1": air_c}, {"B1": 7200.0})["B1"]
        if step > 2000:
            swing.append(lagged)
    gain = (max(swing) - min(swing)) / 1.5
    assert gain == pytest.approx(1 / (2 * math.pi / 1200 * 7200), rel=0.05)


def test_a_day_without_air_holds_the_last_lagged_air_and_says_its_age() -> None:
    bank = LagBank()
    bank.step(0.0, {"B1": 21.0}, {"B1": 7200.0})
    assert bank.step(86400.0, {}, {}) == {"B1": 21.0}
    assert bank.air_age_s("B1", 86400.0) == 86400.0
    assert bank.air_age_s("B9", 86400.0) is None
    again = bank.step(87000.0, {"B1": 25.0}, {"B1": 7200.0})["B1"]
    assert again == pytest.approx(25.0, abs=0.001)


def test_resuming_goes_on_exactly() -> None:
    bank, resumed = LagBank(), LagBank()
    bank.step(0.0, {"B1": 21.0, "B2": 22.0}, {"B1": 7200.0, "B2": 9000.0})
    resumed.restore(json.loads(json.dumps(bank.state())))
    air, lags = {"B1": 23.3, "B2": 19.1}, {"B1": 7200.0, "B2": 9000.0}
    assert bank.step(600.0, air, lags) == resumed.step(600.0, air, lags)
    bank.forget("B1")
    assert set(bank.step(1200.0, {}, {})) == {"B2"}
