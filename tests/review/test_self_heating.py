"""No forecast core is warmer than its mycelium survives; ordinary forecasts are as they were."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from monitor.judge.strain import CoreLimit, HeatPrior, Strain
from monitor.review.curves import expected_of
from monitor.review.forecast import BatchForecast, Forecast, RoomLimits, forecast
from monitor.review.records import BagRecord
from monitor.review.self_heating import growth_ends_c, settled_c
from monitor.terms import DAY_S
from monitor.thermal.growth import Cardinals, temperature_response
from tests.review.forecast_rooms import STRAINS, Played, on_day_five, play

START_S = 1_767_600_000.0
LIMITS = Strain().core_limits


def said(peak_k: float, peak_k_sd: float, air_c: float = 22.0) -> Forecast:
    """Of a batch that nobody looked at yet, 2.4 kg each, from its settings alone."""
    prior = HeatPrior(peak_k=peak_k, peak_k_sd=peak_k_sd, peak_h=120.0, peak_h_sd=20.0)
    strain = Strain("GO-12", known=True, prior=prior)
    bags = [
        BagRecord(f"B{n}", "b", "GO-12", "lot", START_S, 2.4, rack="R1", shelf=1) for n in range(8)
    ]
    return forecast(
        bags, {}, {"GO-12": expected_of(strain)}, lambda name: strain, lambda place: air_c,
        RoomLimits(), START_S + 3 * DAY_S,
    )  # fmt: skip


def batch(found: Forecast) -> BatchForecast:
    return found.batches[0]


def test_heat_drawn_far_too_great_ends_below_what_the_strain_survives() -> None:
    """Without the feedback their range ends at 60 °C; warm, they still warn."""
    one = said(6.0, 6.0)
    core = batch(one).core_c
    assert 31.0 < core.middle < core.high < 40.0
    assert one.shelves[0].hot and one.shelves[0].core_c.high < 40.0
    assert batch(one).peak_w_per_kg.high < 6.0
    assert max(day.heat_w.high for day in one.days) < 8 * 2.4 * 6.0


@pytest.mark.parametrize("air_c", [18.0, 22.0])
def test_an_ordinary_batch_is_forecast_by_its_heat_as_it_was_told(
    air_c: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All its cores under 30 °C: nothing moves by 0.1 K."""
    ours = said(1.5, 0.25, air_c)
    monkeypatch.setattr("monitor.review.forecast.settled_c", lambda air, over, ends: air + over)
    free = said(1.5, 0.25, air_c)
    assert batch(free).core_c.high < 30.0
    for one, other in (
        (batch(ours).core_c, batch(free).core_c),
        (ours.shelves[0].core_c, free.shelves[0].core_c),
        (batch(ours).peak_w_per_kg, batch(free).peak_w_per_kg),
        *((a.heat_w, b.heat_w) for a, b in zip(ours.days, free.days, strict=True)),
    ):
        ends = [(one.low, other.low), (one.middle, other.middle), (one.high, other.high)]
        for mine, theirs in ends:
            assert mine == pytest.approx(theirs, abs=0.02)


def test_a_shelf_is_told_by_the_batch_that_is_likeliest_to_reach_its_limit() -> None:
    """One whose range ends far over its limit, and one that is more likely over its own."""
    likely = Strain(
        "SH-7", known=True, prior=HeatPrior(peak_k=6.0, peak_k_sd=0.3),
        core_limits=(CoreLimit(33.0, DAY_S), CoreLimit(37.0, 3600.0)),
    )  # fmt: skip
    seldom = Strain("PI-2", known=True, prior=HeatPrior(peak_k=2.0, peak_k_sd=4.0))
    strains = {one.name: one for one in (likely, seldom)}
    bags = [
        BagRecord(f"{name}-{n}", name, name, "lot", START_S, 2.4, rack="R1", shelf=shelf)
        for name, shelf in (("PI-2", 1), ("SH-7", 1), ("PI-2", 2))
        for n in range(4)
    ]
    found = forecast(
        bags, {}, {name: expected_of(one) for name, one in strains.items()}, strains.__getitem__,
        lambda place: 22.0, RoomLimits(), START_S + DAY_S,
    )  # fmt: skip
    assert [(one.shelf, one.limit.core_c, one.hot) for one in found.shelves] == [
        (1, 33.0, True),
        (2, 31.5, True),
    ]
    first, second = found.shelves
    assert second.core_c.high - 31.5 > first.core_c.high - 33.0


def test_a_room_too_warm_by_itself_is_forecast_as_it_is() -> None:
    """Air beyond where growth ends: nothing cools a bag below it."""
    assert settled_c(41.0, 5.0, 40.0) == pytest.approx(41.0, abs=1e-3)
    assert batch(said(1.5, 0.25, 38.0)).core_c.low > 37.0


@pytest.mark.parametrize("ends_c", [36.0, 37.5, 40.0, 50.0])
def test_where_warmth_settles_is_the_root_of_its_balance(ends_c: float) -> None:
    """scipy.optimize.brentq finds the same; more heat is never cooler, and never too warm."""
    cardinals = Cardinals(best_c=30.0, most_c=ends_c)

    def balance(at_c: float, air_c: float, excess_k: float) -> float:
        share = float(temperature_response(max(at_c, 30.0), cardinals))
        return at_c - air_c - excess_k * share

    for air_c in (15.0, 22.0, 31.0):
        over = np.linspace(0.5, 60.0, 40)
        found = settled_c(air_c, over, ends_c)
        for excess_k, at_c in zip(over, found, strict=True):
            root = brentq(balance, air_c, air_c + excess_k, args=(air_c, excess_k))
            assert at_c == pytest.approx(root, abs=1e-4)
        assert np.all(np.diff(found) > 0) and found[-1] < ends_c


def test_the_docstring_s_examples() -> None:
    assert settled_c(22.0, 6.0, 40.0) == 28.0
    assert settled_c(22.0, 40.0, 40.0) == pytest.approx(38.1, abs=0.05)
    assert settled_c(22.0, -1.0, 40.0) == 21.0


@pytest.mark.parametrize(
    ("cores_c", "ends_c"),
    [((32.0, 36.0, 40.0), 40.0), ((34.0, 37.5), 37.5), ((31.0,), 36.0), ((38.0, 60.0), 50.0)],
)
def test_growth_ends_with_the_hottest_limit_within_what_is_known(
    cores_c: tuple[float, ...], ends_c: float
) -> None:
    """A grower's single low limit must still be forecast as reached."""
    assert growth_ends_c([CoreLimit(one, 3600.0) for one in cores_c]) == ends_c


@pytest.fixture(scope="module")
def room() -> Played:
    """The invented room of seed 22."""
    return play(22)


def test_a_strain_whose_settings_are_far_off_is_not_forecast_to_cook(
    room: Played, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Shiitake said to peak on day 18 that peaks on day 5: its range ended at 59 °C and more."""
    slow = HeatPrior(
        peak_k=0.9, peak_k_sd=1.0, peak_h=432.0, peak_h_sd=120.0, rise_h=100.0, rise_h_sd=36.0
    )
    monkeypatch.setitem(STRAINS, "SH-7", replace(STRAINS["SH-7"], prior=slow))
    found = next(one for one in on_day_five(room, []).batches if one.strain == "SH-7")
    monkeypatch.setattr("monitor.review.forecast.settled_c", lambda air, over, ends: air + over)
    free = next(one for one in on_day_five(room, []).batches if one.strain == "SH-7")
    assert free.core_c.high > 45.0
    assert found.core_c.high < 40.0
    assert found.core_c.low == pytest.approx(free.core_c.low, abs=0.1)
