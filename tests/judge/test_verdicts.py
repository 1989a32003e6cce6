"""How a look's log factors become a bag's evidence: prior odds, the other account, the bar."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from monitor.judge.odds import needed_log_odds
from monitor.judge.strain import Strain
from monitor.judge.verdicts import Standing, VerdictParams, thermal, weigh_bag
from monitor.values import Bag, Evidence, Reason
from tests.judge.test_evidence import book, cohort, frames, run

PARAMS, STRAIN = VerdictParams(), Strain()
BAG = Bag("Q01", "batch", "GO-12", "L1", 0.0, 2.4, "R1", 3, 1)
STANDING = Standing(
    at_s=0.0, hot=-1.0, stalled=-1.0, hot_before=(), stalled_before=(-1.0, -1.0), hottest=0.0,
    added_k=0.0, lost_k=0.0, onset_h=0.0, lost_h=0.0, strength=1.0, shift_h=0.0, offset_k=0.0,
    fit_sd_k=0.1,
    warmth_k=1.0, slope_k_per_h=0.0, row_h=0.0, by_hand=False, reading_k=0.05, rate_k_per_h=0.0,
    rows=40, peers=7, rising_h=10.0, lent_k=0.0, around_k=2.5, drift_k=0.0,
)  # fmt: skip
HOT = replace(STANDING, hot=14.0, hottest=14.0, added_k=1.5)
COLD = replace(STANDING, stalled=14.0, stalled_before=(14.0, 14.0), lost_k=1.5, lost_h=20.0)


def weighed(standing: Standing, strain: Strain = STRAIN) -> Evidence:
    return weigh_bag(BAG, standing, False, strain, PARAMS)


def test_a_factor_that_is_enough_for_a_call_is_none_where_the_opposite_explains_as_much() -> None:
    """A probe that strays both ways is neither hot nor stalled, only worth no call."""
    assert weighed(HOT).reason is Reason.ADDED_HEAT
    assert weighed(COLD).reason is Reason.COLDER
    both = replace(HOT, stalled=14.0, stalled_before=(14.0, 14.0), lost_k=1.5)
    evidence = weighed(both)
    assert evidence.hot < evidence.hot_needed
    assert evidence.excess_k is not None and evidence.excess_k > 0.0  # nor is it cold
    assert evidence.stalled < evidence.stalled_needed
    assert weighed(replace(COLD, hottest=20.0)).stalled < weighed(COLD).stalled_needed


def test_the_posterior_odds_are_the_factor_times_the_prior_odds() -> None:
    assert weighed(HOT).hot == pytest.approx(14.0 + math.log(0.05))
    assert weighed(COLD).stalled == pytest.approx(14.0 + 8.0 + math.log(0.03))


def test_lost_heat_must_have_been_seen_at_earlier_looks_too() -> None:
    """A stall is slow; what has been cold for one look only may be a probe that came off."""
    fresh = weighed(replace(COLD, stalled_before=(14.0, 2.0)))
    worth = 2.0 - STANDING.hot  # no more than it speaks louder than heat
    assert fresh.stalled == pytest.approx(2.0 + worth + math.log(0.03))
    assert weighed(replace(HOT, stalled_before=(0.0, 0.0))).reason is Reason.ADDED_HEAT
    by_hand = weighed(replace(COLD, stalled_before=(14.0, 2.0), by_hand=True))
    assert by_hand.stalled == pytest.approx(14.0 + 2.0 + math.log(0.03))


def test_lost_heat_counts_for_more_only_of_a_bag_that_has_little_of_its_warmth_left() -> None:
    """By probes and beside mates: at most 0.55 of their usual warmth, told without what the slot
    and the probe add (DEVELOPERS.md, The judge)."""
    beside = replace(COLD, around_k=1.0, offset_k=0.3)
    plain, worth = 14.0 + math.log(0.03), PARAMS.stalled_worth_by_probe
    assert weighed(replace(beside, warmth_k=0.84)).stalled == pytest.approx(plain + worth)
    warmer = replace(beside, warmth_k=0.86)
    assert weighed(warmer).stalled == pytest.approx(plain)
    assert weighed(replace(warmer, peers=2)).stalled == pytest.approx(plain + worth)
    hardly = replace(beside, warmth_k=0.4, stalled=0.4, stalled_before=(9.0, 9.0))
    assert weighed(hardly).stalled == pytest.approx(0.4 + math.log(0.03))
    by_hand = weighed(replace(warmer, by_hand=True)).stalled
    assert by_hand == pytest.approx(plain + PARAMS.stalled_worth_by_hand)


def test_before_its_cohort_rises_a_bag_must_have_been_hot_at_earlier_looks_too() -> None:
    """A bag that leads by a day looks hot for some hours, until its mates rise as well."""
    fresh = replace(HOT, hot_before=(14.0, 2.0))
    assert weighed(fresh).hot == pytest.approx(2.0 + math.log(0.05))
    assert weighed(fresh).reason is not Reason.ADDED_HEAT
    assert weighed(replace(fresh, hot_before=(14.0, 14.0))).reason is Reason.ADDED_HEAT
    assert weighed(replace(fresh, row_h=10.0)).hot == pytest.approx(14.0 + math.log(0.05))


def test_in_a_cohort_not_risen_yet_one_walk_alone_must_be_louder_than_two() -> None:
    """The walk before is half a day old; heat that is plain is not kept waiting for the next."""
    walked = replace(HOT, by_hand=True, hot=6.0, hot_before=(-2.0, 9.0))
    assert weighed(walked).hot == pytest.approx(3.5 + math.log(0.05))
    assert weighed(walked).reason is not Reason.ADDED_HEAT
    for called in (
        replace(walked, hot=6.3),
        replace(walked, hot_before=(5.0, -2.0)),
        replace(walked, row_h=10.0),
    ):
        assert weighed(called).reason is Reason.ADDED_HEAT


def test_a_call_from_walks_needs_less_than_one_from_probes() -> None:
    """Log odds 0.6 and 1.9 at half a false call per 100: DEVELOPERS.md, The bars."""
    by_hand = weighed(replace(HOT, by_hand=True))
    assert by_hand.hot_needed == pytest.approx(math.log(200.0 * 0.05) - 1.7)
    assert weighed(HOT).hot_needed == pytest.approx(math.log(200.0 * 0.05) - 0.4)


def test_a_bag_a_little_colder_than_its_mates_is_not_stalled() -> None:
    """However sure: made-up stalled bags lacked 0.46 K to 2.6 K when called, healthy ones up to
    0.45 K, so a strain's least excess is 0.5 K unless the grower says otherwise."""
    assert weighed(replace(COLD, lost_k=0.51)).reason is Reason.COLDER
    assert weighed(replace(COLD, lost_k=0.49)).reason is not Reason.COLDER


@pytest.mark.parametrize(("lost_h", "reason"), [(5.0, Reason.NEVER_WARMED), (20.0, Reason.COLDER)])
def test_heat_lost_before_the_cohort_rose_never_came(lost_h: float, reason: Reason) -> None:
    assert weighed(replace(COLD, lost_h=lost_h)).reason is reason


@pytest.mark.parametrize(("by_hand", "seen"), [(False, 0.85), (True, 1.0)])
def test_the_added_heat_is_what_holds_the_surface_that_much_warmer(
    by_hand: bool, seen: float
) -> None:
    """1.5 K, through a taped probe that sees 85 % of it or by hand, of a bag whose neighbours are
    no warmer than before and so give it nothing."""
    evidence = weighed(replace(HOT, by_hand=by_hand))
    held_w = thermal(BAG).loss_w_per_k * 1.5 / seen
    assert evidence.added_w == pytest.approx(held_w)
    assert evidence.added_w_per_kg == pytest.approx(held_w / 2.4)


def test_the_bar_rises_as_fewer_false_calls_are_accepted_and_with_its_margin() -> None:
    """Ville: a healthy bag's factor ever reaches 200 with a chance of 1/200."""
    assert needed_log_odds(0.5, 0.05, 0.0) == pytest.approx(math.log(200.0 * 0.05))
    assert needed_log_odds(0.5, 0.05, 0.5) == pytest.approx(math.log(200.0 * 0.05) + 0.5)
    strict = weighed(HOT, replace(STRAIN, false_calls_per_100=0.05))
    assert strict.hot_needed - weighed(HOT).hot_needed == pytest.approx(math.log(10.0))


def test_an_excess_that_is_worth_no_walk_is_no_call() -> None:
    assert weighed(replace(HOT, added_k=0.2)).reason is not Reason.ADDED_HEAT
    assert weighed(replace(COLD, lost_k=0.2)).reason is not Reason.COLDER


def test_a_bag_is_held_to_three_looks_for_added_heat_and_for_lost() -> None:
    """The newest and those kept: DEVELOPERS.md, The judge."""
    bags = cohort(4, seed=3)
    done = run(frames(bags, 40), book(list(bags)))
    standings = done.judge.state()["standing"]
    assert len(standings) == 4
    for standing in standings.values():
        assert 1 + len(standing["hot_before"]) == 3
        assert 1 + len(standing["stalled_before"]) == 3
