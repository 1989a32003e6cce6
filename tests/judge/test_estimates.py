"""Heat and core of one bag from how it stands, against a heat balance stepped by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from monitor.judge.outlook import Outlook, estimate_bag
from monitor.judge.verdicts import Standing, VerdictParams, thermal
from monitor.values import Bag, Estimate

HOUR_S = 3600.0
AIR_C, END_S = 22.0, 400.0 * HOUR_S
PARAMS = VerdictParams()
BAG = Bag("Q01", "batch", "GO-12", "L1", 0.0, 2.4, "R1", 3, 1)
STEADY = Standing(
    at_s=END_S, hot=0.0, stalled=0.0, stalled_before=(), hottest=0.0, added_k=0.0, lost_k=0.0,
    onset_h=0.0, lost_h=0.0, strength=1.0, shift_h=0.0, offset_k=0.2, offset_sd_k=0.1,
    warmth_k=1.2, slope_k_per_h=0.0, row_h=END_S / HOUR_S, by_hand=False, reading_k=0.05,
    rate_k_per_h=0.0, rows=40, peers=5, rising_h=0.0, lent_k=0.0,
)  # fmt: skip


def estimated(standing: Standing) -> Estimate:
    """What is said of the bag as its frame ends, in air that has long been the same."""
    outlook = Outlook.of(BAG, standing, PARAMS)
    return estimate_bag("Q01", END_S, AIR_C + 1.2, AIR_C, AIR_C, outlook)


def warmed(start_w: float, w_per_h: float) -> tuple[float, float, float]:
    """A bag whose heat moves by `w_per_h` for half a day: its heat then [W], its surface's warmth
    [K] and how fast that moves [K/h], by steps of 36 s through C dT/dt = heat − loss T."""
    bag = thermal(BAG)
    loss_w_per_k = PARAMS.crowded * bag.loss_w_per_k
    warmth_k, before_k, heat_w = start_w / loss_w_per_k, 0.0, start_w
    for _ in range(12):
        before_k = warmth_k
        for _ in range(100):
            heat_w += w_per_h / 100.0
            warmth_k += 36.0 * (heat_w - loss_w_per_k * warmth_k) / bag.heat_capacity_j_per_k
    return heat_w, warmth_k, warmth_k - before_k


@pytest.mark.parametrize("by_hand", [False, True], ids=["by probe", "by hand"])
@pytest.mark.parametrize(
    ("start_w", "w_per_h"), [(0.3, 0.1), (2.5, -0.1)], ids=["rising", "falling"]
)
def test_heat_leads_a_surface_that_moves_by_what_the_bag_stores(
    start_w: float, w_per_h: float, by_hand: bool
) -> None:
    heat_w, warmth_k, k_per_h = warmed(start_w, w_per_h)
    contact = 1.0 if by_hand else PARAMS.contact
    standing = replace(
        STEADY,
        warmth_k=contact * warmth_k + STEADY.offset_k,
        slope_k_per_h=contact * k_per_h,
        by_hand=by_hand,
    )
    told = estimated(standing).heat_w_per_kg
    assert told is not None
    assert told * BAG.mass_kg == pytest.approx(heat_w, rel=0.02)
    # the warmth alone would tell of a heat of hours ago
    loss_w_per_k = PARAMS.crowded * thermal(BAG).loss_w_per_k
    assert abs(loss_w_per_k * warmth_k - heat_w) > 0.05 * heat_w


def test_a_fit_of_hours_ago_is_carried_on_at_its_slope_and_no_further_than_six_hours() -> None:
    moving = replace(STEADY, slope_k_per_h=0.1)
    now, later, longest = (
        estimated(replace(moving, row_h=END_S / HOUR_S - hours)).core_c for hours in (0, 5, 40)
    )
    assert now is not None and later is not None and longest is not None
    ratio = thermal(BAG).core_per_surface / PARAMS.contact
    assert later - now == pytest.approx(0.5 * ratio)
    assert longest - now == pytest.approx(0.6 * ratio)


def test_the_core_is_over_the_air_by_the_bags_warmth_and_its_own_ratio() -> None:
    """1.0 K beyond the bag's constant offset, read through a taped probe that sees 85 % of it."""
    told = estimated(STEADY)
    assert told.core_c is not None and told.core_low_c is not None
    assert told.core_c - AIR_C == pytest.approx(thermal(BAG).core_per_surface / 0.85)
    assert told.core_low_c < told.core_c


def test_the_same_heat_is_known_less_well_of_a_bag_that_moves() -> None:
    """How long a bag's lag is, and so what it stores, is known to 30 % only."""
    trails_k = 0.3 * thermal(BAG).lag_s / HOUR_S
    rest = estimated(STEADY)
    moves = estimated(replace(STEADY, slope_k_per_h=0.3, warmth_k=1.2 - trails_k))
    for told in (rest, moves):
        assert told.heat_w_per_kg == pytest.approx(rest.heat_w_per_kg)
    assert rest.heat_low_w_per_kg is not None and moves.heat_low_w_per_kg is not None
    assert rest.heat_w_per_kg is not None
    low_k = 0.3 * PARAMS.crowded * thermal(BAG).loss_w_per_k * trails_k / 0.85 / BAG.mass_kg
    added = math.hypot(rest.heat_w_per_kg - rest.heat_low_w_per_kg, 1.2816 * low_k)
    assert rest.heat_w_per_kg - moves.heat_low_w_per_kg == pytest.approx(added)


def test_without_a_look_or_without_air_only_what_was_read_is_told() -> None:
    for standing, lagged_c in ((None, AIR_C), (STEADY, None), (replace(STEADY, warmth_k=None), 1)):
        outlook = Outlook.of(BAG, standing, PARAMS)
        told = estimate_bag("Q01", END_S, 23.5, AIR_C, lagged_c, outlook)
        assert (told.surface_c, told.heat_w_per_kg, told.core_c) == (23.5, None, None)
