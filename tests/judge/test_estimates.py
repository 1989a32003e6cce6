"""Heat and core of one bag from how it stands, against a heat balance stepped by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import median

import numpy as np
import pytest

from monitor.judge.evidence import Judge
from monitor.judge.outlook import Outlook, estimate_bag
from monitor.judge.verdicts import Standing, VerdictParams, thermal
from monitor.thermal.bag import describe_bag, loss_at
from monitor.thermal.transient import lag_modes
from monitor.values import Bag, Estimate
from tests.judge.test_evidence import book, cohort, frames

HOUR_S = 3600.0
AIR_C, END_S = 22.0, 400.0 * HOUR_S
PARAMS = VerdictParams()
BAG = Bag("Q01", "batch", "GO-12", "L1", 0.0, 2.4, "R1", 3, 1)
STEADY = Standing(
    at_s=END_S, hot=0.0, stalled=0.0, hot_before=(), stalled_before=(),
    hottest=0.0, added_k=0.0, lost_k=0.0,
    onset_h=0.0, lost_h=0.0, strength=1.0, shift_h=0.0, offset_k=0.2, fit_sd_k=0.1,
    warmth_k=1.2, slope_k_per_h=0.0, row_h=END_S / HOUR_S, by_hand=False, reading_k=0.05,
    rate_k_per_h=0.0, rows=40, peers=5, rising_h=0.0, lent_k=0.0, around_k=0.0, drift_k=0.0,
)  # fmt: skip


def told_ratio() -> float:
    """Core over side of the steady bag, its film as its own warmth makes it."""
    bag = thermal(BAG)
    return 1.0 + (bag.core_per_surface - 1.0) * loss_at(bag, 1.0 / 0.85) / bag.loss_w_per_k


def estimated(standing: Standing) -> Estimate:
    """What is said of the bag as its frame ends, in air that has long been the same."""
    outlook = Outlook.of(BAG, standing, PARAMS)
    return estimate_bag("Q01", END_S, AIR_C + 1.2, AIR_C, AIR_C, outlook)


def warmed(start_w: float, w_per_h: float) -> tuple[float, float, float]:
    """A bag whose heat moves by `w_per_h` for half a day: its heat then [W], its side's warmth [K]
    and how fast that moves [K/h], by the modes of conduction inside it, stepped exactly."""
    bag = thermal(BAG)
    side = lag_modes(bag).side
    per_w = 1.0 / bag.heat_capacity_j_per_k
    heat_w = start_w
    modes_k = heat_w * per_w * side.tau_s
    before_k = 0.0
    for _ in range(12):
        before_k = float(side.weight @ modes_k)
        for _ in range(100):
            heat_w += w_per_h / 100.0
            steady_k = heat_w * per_w * side.tau_s
            modes_k = steady_k + (modes_k - steady_k) * np.exp(-36.0 / side.tau_s)
    warmth_k = float(side.weight @ modes_k)
    return heat_w, warmth_k, warmth_k - before_k


@pytest.mark.parametrize("by_hand", [False, True], ids=["by probe", "by hand"])
@pytest.mark.parametrize(
    ("start_w", "w_per_h"), [(0.7, 0.1), (2.5, -0.1)], ids=["rising", "falling"]
)
def test_heat_leads_a_side_that_moves_by_what_the_bag_stores(
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
    assert abs(thermal(BAG).loss_w_per_k * warmth_k - heat_w) > 0.1 * heat_w


def test_what_neighbours_give_a_bag_is_no_heat_of_its_own() -> None:
    """Among bags as warm as itself it makes what one with an open view of 0.88 loses; a hot bag
    among cool ones makes more than their share of the same."""
    alone, among = (estimated(replace(STEADY, around_k=k)) for k in (0.0, 1.0))
    assert alone.heat_w_per_kg is not None and among.heat_w_per_kg is not None
    row = describe_bag(BAG.mass_kg, open_view=PARAMS.open_view)
    assert among.heat_w_per_kg / alone.heat_w_per_kg == pytest.approx(
        row.loss_w_per_k / thermal(BAG).loss_w_per_k, rel=0.01
    )
    # less heat made inside is also less of a step from the side to the core
    assert alone.core_c is not None and among.core_c is not None
    assert among.core_c < alone.core_c


def test_by_hand_heat_is_known_less_well_where_walks_differ_more() -> None:
    width = []
    for drift_k in (0.0, 0.2, 0.6):
        told = estimated(replace(STEADY, by_hand=True, drift_k=drift_k))
        assert told.heat_w_per_kg is not None and told.heat_low_w_per_kg is not None
        width.append(told.heat_w_per_kg - told.heat_low_w_per_kg)
    # the least error of a thermometer stands in for a drift that small
    assert width[0] == width[1] < width[2]


def test_a_fit_of_hours_ago_is_carried_on_at_its_slope_and_no_further_than_six_hours() -> None:
    moving = replace(STEADY, slope_k_per_h=0.1)
    now, later, longest = (
        estimated(replace(moving, row_h=END_S / HOUR_S - hours)).core_c for hours in (0, 5, 40)
    )
    assert now is not None and later is not None and longest is not None
    ratio = told_ratio() / PARAMS.contact
    assert later - now == pytest.approx(0.5 * ratio)
    assert longest - now == pytest.approx(0.6 * ratio)


def test_the_core_is_over_the_air_by_the_bags_warmth_and_its_own_ratio() -> None:
    """1.0 K beyond the bag's constant offset, read through a taped probe that sees 85 % of it."""
    told = estimated(STEADY)
    assert told.core_c is not None and told.core_low_c is not None
    assert told.core_c - AIR_C == pytest.approx(told_ratio() / 0.85)
    # at the warmth its constants are told for the ratio is the described one
    assert told_ratio() == pytest.approx(thermal(BAG).core_per_surface, rel=0.02)
    assert told.core_low_c < told.core_c


def test_heat_of_a_bag_that_moves_is_known_less_well() -> None:
    """How long a bag's lag is, and so what it stores, is known to 25 % only."""
    trails_k = 0.3 * thermal(BAG).heat_lag_s / HOUR_S
    rest = estimated(STEADY)
    moves = estimated(replace(STEADY, slope_k_per_h=0.3, warmth_k=1.2 - trails_k))
    low = 0.25 * thermal(BAG).loss_w_per_k * trails_k / 0.85 / BAG.mass_kg
    assert rest.heat_w_per_kg is not None and moves.heat_w_per_kg is not None
    assert rest.heat_low_w_per_kg is not None and moves.heat_low_w_per_kg is not None
    # the same heat, but for the film of a side that is less warm by now
    assert moves.heat_w_per_kg == pytest.approx(rest.heat_w_per_kg, rel=0.1)
    added = math.hypot(rest.heat_w_per_kg - rest.heat_low_w_per_kg, 1.2816 * low)
    assert moves.heat_w_per_kg - moves.heat_low_w_per_kg == pytest.approx(added, rel=0.12)
    assert low > 0.3 * (rest.heat_w_per_kg - rest.heat_low_w_per_kg)
    # as warm as before, and so of the same film: exactly what the lag leaves open
    still, moving = (
        Outlook.of(BAG, replace(STEADY, slope_k_per_h=slope), PARAMS) for slope in (0.0, 0.3)
    )
    assert still is not None and moving is not None
    open_ = 0.25 * loss_at(thermal(BAG), 1.0 / 0.85) * trails_k / 0.85 / BAG.mass_kg
    assert moving.heat_variance - still.heat_variance == pytest.approx(open_**2)


def test_a_look_tells_what_stands_around_a_bag_and_how_far_its_fit_is_unknown() -> None:
    bags = cohort(seed=2)
    judge, planned, air_c = Judge(), book(list(bags)), dict.fromkeys(bags, AIR_C)
    for frame in frames(bags, 60):
        judge.step(frame, planned, air_c, air_c, {})
    told = judge.state()["standing"].values()
    usual_k = median(one["warmth_k"] - one["offset_k"] for one in told)
    assert usual_k > 0.3
    for one in told:
        assert one["around_k"] == pytest.approx(usual_k)
        # a constant offset alone is known to 0.03 K by then, the curve is not
        assert one["fit_sd_k"] > 0.06
        assert one["drift_k"] > 0.05


def test_without_a_look_or_without_air_only_what_was_read_is_told() -> None:
    for standing, lagged_c in ((None, AIR_C), (STEADY, None), (replace(STEADY, warmth_k=None), 1)):
        outlook = Outlook.of(BAG, standing, PARAMS)
        told = estimate_bag("Q01", END_S, 23.5, AIR_C, lagged_c, outlook)
        assert (told.surface_c, told.heat_w_per_kg, told.core_c) == (23.5, None, None)
