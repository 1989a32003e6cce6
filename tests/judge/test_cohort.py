"""The cohort's expectation, what a room shares, whole lots."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from monitor.judge.cohort import (
    STRENGTHS_K,
    Expected,
    Likelihood,
    Spread,
    expect,
    log_prior,
    scatter,
)
from monitor.judge.curve import HEAT, LATER, WIDER, Grid, make_grid, shapes
from monitor.judge.looks import Course, LookParams
from monitor.judge.lots import LotParams, judge_lot
from monitor.judge.spread import common_drift, noise_factor, shared_course
from monitor.judge.strain import HeatPrior, Strain
from monitor.judge.verdicts import Standing
from monitor.values import Reason

STANDING = Standing(
    at_s=0.0, hot=-1.0, stalled=-1.0, hot_before=(), stalled_before=(),
    hottest=0.0, added_k=0.0, lost_k=0.0,
    onset_h=0.0, lost_h=0.0, strength=1.0, shift_h=0.0, offset_k=0.0, fit_sd_k=0.1,
    warmth_k=1.0, slope_k_per_h=0.0, row_h=0.0, by_hand=False, reading_k=0.05, rate_k_per_h=0.0,
    rows=40, peers=5, rising_h=0.0, lent_k=0.0, around_k=0.0, drift_k=0.0,
)  # fmt: skip


def test_the_curve_is_one_at_its_peak_without_maintenance_and_settles_at_keep() -> None:
    grid = Grid(np.array([90.0]), np.array([9.0]), 4.0, 1.2)
    assert shapes(np.array([90.0]), grid, 0.0)[0, 0, HEAT] == pytest.approx(1.0)
    assert shapes(np.array([400.0]), grid, 0.22)[0, 0, HEAT] == pytest.approx(0.22, abs=1e-9)


def test_the_corrections_are_the_curves_derivatives() -> None:
    ages = np.linspace(10.0, 200.0, 40)
    grid = Grid(np.array([90.0]), np.array([9.0]), 4.0, 1.2)
    step = 1e-5
    later = shapes(ages, Grid(np.array([90.0 + step]), grid.rise_h, 4.0, 1.2), 0.22)
    wider = shapes(ages, Grid(grid.peak_h, np.array([9.0 * np.exp(step)]), 4.0, 1.2), 0.22)
    here = shapes(ages, grid, 0.22)
    np.testing.assert_allclose((later - here)[:, 0, HEAT] / step, here[:, 0, LATER], atol=1e-5)
    np.testing.assert_allclose((wider - here)[:, 0, HEAT] / step, here[:, 0, WIDER], atol=1e-5)


def test_a_slow_late_hump_is_no_likelier_than_a_quick_early_one_for_being_slow() -> None:
    """The time constant counts as a share of the peak's age, so what the peak's age is worth by
    itself is all that two humps of one share differ by."""
    prior = HeatPrior(peak_h=130.0, peak_h_sd=60.0, rise_h=17.0, rise_h_sd=8.5)
    share = 17.0 / 130.0
    peak_h = np.array([70.0, 190.0, 190.0])
    grid = Grid(peak_h, peak_h * np.array([share, share, 2.0 * share]), 4.0, 1.2)
    early, late, slow = log_prior(grid, prior, np.array([1.5]))[:, 0]
    assert early == pytest.approx(late)  # each one standard deviation from the usual age
    assert late - slow == pytest.approx(0.5 * (math.log(2.0) / 0.5) ** 2)


@pytest.mark.parametrize("pull", [6.0, LookParams().pull])
def test_half_a_cohort_gone_astray_does_not_move_what_the_other_half_expects(pull: float) -> None:
    grid = make_grid(24.0, 200.0)
    peaks = [88.0, 90.0, 92.0, 94.0, 91.0, 89.0, 150.0, 60.0, 130.0, 175.0, 45.0, 110.0]
    precision = np.full((len(peaks), grid.size), 400.0)  # each surely 2 K strong
    right = 2.0 * precision
    rest = np.array(
        [
            -0.5 * ((grid.peak_h - peak) / 2.0) ** 2 - 0.5 * (np.log(grid.rise_h / 10.0) / 0.1) ** 2
            for peak in peaks
        ]
    )
    expected = expect(
        Likelihood(precision, right, rest),
        scatter(grid, Spread()),
        log_prior(grid, HeatPrior(), STRENGTHS_K),
        STRENGTHS_K,
        Spread(),
        pull,
    )
    weight = expected.weight[0] / expected.weight[0].sum()
    assert weight @ grid.peak_h == pytest.approx(90.0, abs=4.0)


def test_what_is_expected_of_a_bag_does_not_hang_on_the_bag_itself() -> None:
    """However hot, late or sure it is; the others hear of it."""
    grid = make_grid(24.0, 200.0)
    random = np.random.default_rng(6)
    precision = np.full((5, grid.size), 40.0)
    rest = np.array([-0.5 * ((grid.peak_h - peak) / 6.0) ** 2 for peak in (86, 90, 93, 95, 88)])
    right = precision * random.normal(2.0, 0.2, (5, 1))
    prior, spread = log_prior(grid, HeatPrior(), STRENGTHS_K), Spread()

    def expected(right: np.ndarray, rest: np.ndarray) -> Expected:
        near = scatter(grid, spread)
        return expect(Likelihood(precision, right, rest), near, prior, STRENGTHS_K, spread, 6.0)

    calm = expected(right, rest)
    wild_right, wild_rest = right.copy(), rest.copy()
    wild_right[0] *= 3.0
    wild_rest[0] = -0.5 * ((grid.peak_h - 150.0) / 2.0) ** 2
    wild = expected(wild_right, wild_rest)
    np.testing.assert_allclose(wild.mean[0], calm.mean[0], rtol=1e-9)
    np.testing.assert_allclose(wild.weight[0], calm.weight[0], rtol=1e-6, atol=1e-12)
    assert np.abs(wild.weight[1] - calm.weight[1]).max() > 1e-4


def test_what_the_room_shares_is_the_same_whatever_half_of_the_bags_do() -> None:
    random = np.random.default_rng(3)
    hours = np.arange(40.0) * 3.0
    swing = np.where(np.arange(40) % 8 < 2, -0.6, 0.2)
    bags = swing[:, None] + random.normal(0.0, 0.03, (40, 21))
    calm = shared_course(bags, hours, 0.05, 12.0)
    bags[20:, :10] += 3.0
    wild = shared_course(bags, hours, 0.05, 12.0)
    assert np.abs(wild - calm).max() < 0.06
    assert np.corrcoef(calm, swing)[0, 1] > 0.95


def test_under_three_bags_nothing_counts_as_shared() -> None:
    assert not shared_course(np.ones((5, 2)), np.arange(5.0), 0.05, 12.0).any()


def drifting(*slopes_k: float, rows: int = 20) -> np.ndarray:
    """Lots of five bags, read twice a day, each rising by so much in all [K]."""
    random = np.random.default_rng(6)
    rise = np.linspace(0.0, 1.0, rows)[:, None]
    each = [slope * rise + random.normal(0.0, 0.05, (rows, 5)) for slope in slopes_k]
    return np.concatenate(each, axis=1)


LOTS = [list(range(5)), list(range(5, 10)), list(range(10, 15))]
WALKS_H = np.arange(20.0) * 12.0


def test_what_every_lot_drifts_by_is_the_thermometers() -> None:
    found = common_drift(drifting(1.2, 1.0, 1.1), WALKS_H, LOTS, 24.0, 5.0)
    assert found[-1] == pytest.approx(0.9, abs=0.15)
    assert found[0] == pytest.approx(0.1, abs=0.15)


def test_no_more_than_the_least_lot_drifts_is_taken_for_the_thermometers() -> None:
    """A lot that goes bad as a whole keeps its heat; so does one beside it that runs late."""
    assert np.abs(common_drift(drifting(2.0, 0.0, 2.0), WALKS_H, LOTS, 24.0, 5.0)).max() < 0.1
    assert not common_drift(drifting(1.0, -1.0, 1.0), WALKS_H, LOTS, 24.0, 5.0)[-3:].any()
    assert common_drift(drifting(2.0, 0.6, 1.0), WALKS_H, LOTS, 24.0, 5.0)[-1] < 0.7


def test_a_drift_is_taken_off_up_to_what_walks_differ_by_anyway() -> None:
    found = common_drift(drifting(1.2, 1.0, 1.1), WALKS_H, LOTS, 24.0, 0.3)
    assert found.max() == 0.3
    assert (found == 0.3).sum() > 5


def test_one_lot_alone_has_no_drift_of_the_thermometer() -> None:
    assert not common_drift(drifting(2.0), WALKS_H, LOTS[:1], 24.0, 5.0).any()
    unread = drifting(2.0, 2.0)
    unread[:, 5:8] = np.nan  # two bags left of the other lot, as few as tell nothing
    assert not common_drift(unread, WALKS_H, LOTS[:2], 24.0, 5.0).any()


def test_the_noise_is_corrected_by_the_typical_surprise_not_by_the_worst() -> None:
    random = np.random.default_rng(4)
    surprises = random.normal(0.0, 2.0, (40, 30))
    surprises[:5] += 30.0
    assert noise_factor(surprises, 10.0) == pytest.approx(2.0, rel=0.3)
    assert noise_factor(np.full((3, 2), np.nan), 10.0) == 1.0


def test_a_cohort_of_two_strains_is_said_to_look_like_two() -> None:
    leads = [-32.0, -28.0, -30.0, -35.0, 31.0, 28.0, 33.0, 30.0]
    bags = [replace(STANDING, shift_h=lead) for lead in leads]
    strain = Strain()
    course = Course(1.5, 100.0, 10.0)
    assert judge_lot(course, bags, 200.0, 0.5, strain, LotParams()) is Reason.COHORT_IS_TWO
    usual = [replace(STANDING, shift_h=lead / 4.0) for lead in leads]
    assert judge_lot(course, usual, 200.0, 0.5, strain, LotParams()) is None


def test_a_lot_is_called_slow_or_hot_only_against_a_strains_earlier_runs() -> None:
    known = Strain(
        known=True, prior=HeatPrior(peak_k=2.0, peak_k_sd=0.3, peak_h=90.0, peak_h_sd=8.0)
    )
    bags = [STANDING] * 6
    slow = Course(2.0, 150.0, 10.0)
    assert judge_lot(slow, bags, 120.0, 0.2, known, LotParams()) is Reason.LOT_SLOW
    hot = Course(3.5, 90.0, 10.0)
    assert judge_lot(hot, bags, 90.0, 3.3, known, LotParams()) is Reason.LOT_HOT
    assert judge_lot(hot, bags, 90.0, 3.3, replace(known, known=False), LotParams()) is None


def test_a_lot_that_cools_after_its_peak_is_not_slow() -> None:
    known = Strain(
        known=True, prior=HeatPrior(peak_k=2.0, peak_k_sd=0.3, peak_h=90.0, peak_h_sd=8.0)
    )
    past = Course(2.0, 92.0, 10.0)
    assert judge_lot(past, [STANDING] * 6, 160.0, 0.2, known, LotParams()) is None


def test_bags_that_differ_because_some_are_hot_or_by_chance_are_one_cohort() -> None:
    """Two halves far apart are two; so are neither contaminated bags nor leads of every size."""
    course = Course(1.5, 100.0, 10.0)

    def judged(leads: list[float], hot: float = -1.0) -> Reason | None:
        bags = [replace(STANDING, shift_h=lead, hot=hot if lead > 0 else -1.0) for lead in leads]
        return judge_lot(course, bags, 200.0, 0.5, Strain(), LotParams())

    halves = [-32.0, -28.0, -30.0, -35.0, 31.0, 28.0, 33.0, 30.0]
    assert judged(halves) is Reason.COHORT_IS_TWO
    assert judged(halves, hot=3.0) is None
    assert judged([-32.0, -23.0, -14.0, -5.0, 5.0, 14.0, 23.0, 32.0]) is None


def test_a_lot_whose_bags_differ_as_those_of_one_lot_do_not_is_said_to_be_uneven() -> None:
    """Each bag of a lot that goes wrong as a whole does so at its own time."""
    risen = replace(STANDING, row_h=20.0, hot=2.0)

    def judged(bags: list[Standing]) -> Reason | None:
        return judge_lot(Course(1.5, 100.0, 10.0), bags, 120.0, 0.5, Strain(), LotParams())

    strengths = [0.6, 0.7, 0.9, 1.0, 1.3, 1.4, 1.6, 1.9]
    apart = [replace(risen, strength=one) for one in strengths]
    assert judged(apart) is Reason.LOT_UNEVEN
    leads_h = [-40.0, -30.0, -25.0, -4.0, 3.0, 24.0, 29.0, 41.0]
    assert judged([replace(risen, shift_h=one) for one in leads_h]) is Reason.LOT_UNEVEN
    assert judged(apart[:5]) is None, "five are too few to tell"
    assert judged([replace(one, row_h=10.0) for one in apart]) is None, "they rise just now"
    usual = [replace(risen, strength=1.0 + 0.13 * z) for z in (-1.4, -0.8, -0.3, 0.0, 0.4, 0.9)]
    assert judged(usual) is None
    assert judged([*usual, *[replace(risen, strength=2.5)] * 2]) is None, (
        "two bags of eight are hot"
    )
