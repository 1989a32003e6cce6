"""Exact tests against published tables, scipy and plain counting of every order."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import pytest
import scipy.stats
from scipy.stats.contingency import odds_ratio as scipy_odds
from statsmodels.stats.proportion import proportion_confint

from monitor.review.exact import (
    Table,
    adjusted,
    count_runs,
    differently_lost,
    least_chance,
    longest_run,
    more_lost,
    more_lost_within,
    odds_interval,
    odds_ratio,
    run_as_long,
    runs_as_few,
)
from monitor.review.rates import Beta, between_groups, wilson

TABLES = [
    Table(3, 1, 1, 3),
    Table(2, 10, 15, 3),
    Table(8, 2, 1, 5),
    Table(7, 1, 3, 109),
    Table(0, 12, 5, 40),
    Table(6, 0, 2, 30),
]


def test_lady_tasting_tea_is_17_of_70() -> None:
    """Fisher 1935, The Design of Experiments: three of four cups named rightly."""
    assert more_lost(Table(3, 1, 1, 3)) == float(Fraction(17, 70))
    assert differently_lost(Table(3, 1, 1, 3)) == float(Fraction(34, 70))


def test_fisher_matches_examples_of_the_handbooks() -> None:
    """(2 10 / 15 3): Fisher's twins of convicts, one-sided 0.00046518, two-sided 0.00053672;
    (8 2 / 1 5): 0.0349650, the example of scipy's own help."""
    assert more_lost(Table(15, 3, 2, 10)) == pytest.approx(0.00046518, abs=5e-9)
    assert differently_lost(Table(2, 10, 15, 3)) == pytest.approx(0.00053672, abs=5e-9)
    assert differently_lost(Table(8, 2, 1, 5)) == pytest.approx(0.0349650, abs=5e-8)


@pytest.mark.parametrize("table", TABLES)
def test_fisher_and_odds_match_scipy(table: Table) -> None:
    """Both sides and the conditional odds ratio with its 95 % interval."""
    rows = [[table.lost_in, table.sound_in], [table.lost_out, table.sound_out]]
    greater = scipy.stats.fisher_exact(rows, alternative="greater").pvalue
    assert more_lost(table) == pytest.approx(greater, rel=1e-9)
    both = scipy.stats.fisher_exact(rows, alternative="two-sided").pvalue
    assert differently_lost(table) == pytest.approx(both, rel=1e-9)
    theirs = scipy_odds(rows, kind="conditional")
    ends = theirs.confidence_interval(0.95)
    assert odds_ratio(table) == pytest.approx(theirs.statistic, rel=1e-6)
    assert odds_interval(table) == pytest.approx((ends.low, ends.high), rel=1e-6)


def test_adjusted_chances_match_benjamini_and_hochberg_1995() -> None:
    """Their fifteen chances of the heart study; four are at or below 0.05."""
    chances = [.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262,
               .5719, .6528, .7590, 1.0]  # fmt: skip
    expected = [.0015, .0030, .0095, .035625, .0603, .06385714, .06385714, .0645, .0765, .4860,
                .58118, .714875, .75323, .81321, 1.0]  # fmt: skip
    assert adjusted(chances) == pytest.approx(expected, abs=1e-5)
    assert sum(one <= 0.05 for one in adjusted(chances)) == 4
    shuffled = [chances[i] for i in (7, 0, 14, 3, 9)]
    assert adjusted(shuffled) == pytest.approx(
        scipy.stats.false_discovery_control(shuffled, method="bh")
    )


def test_test_within_strata_is_fisher_of_one_stratum_and_blind_where_there_is_no_choice() -> None:
    """A stratum that is all inside or all outside adds nothing."""
    table = Table(7, 1, 3, 109)
    blind = [Table(4, 0, 0, 0), Table(0, 0, 2, 50)]
    assert more_lost_within([table, *blind]) == more_lost(table)
    assert more_lost_within(blind) == 1.0


def test_test_within_strata_matches_counting_every_placing() -> None:
    """Two strata of five and six bags, each way to place the lost ones counted."""
    strata = [Table(2, 1, 0, 2), Table(1, 1, 1, 3)]
    seen = sum(one.lost_in for one in strata)
    ways = reached = 0
    for first in itertools.combinations(range(5), 2):
        for second in itertools.combinations(range(6), 2):
            inside = sum(i < 3 for i in first) + sum(i < 2 for i in second)
            ways += 1
            reached += inside >= seen
    assert more_lost_within(strata) == reached / ways


@pytest.mark.parametrize(("lost", "total", "length"), [(3, 9, 2), (4, 10, 3), (5, 9, 4), (2, 6, 1)])
def test_longest_run_matches_counting_every_order(lost: int, total: int, length: int) -> None:
    """The chance of a run this long, by enumeration."""
    orders = [
        [i in chosen for i in range(total)] for chosen in itertools.combinations(range(total), lost)
    ]
    reached = sum(longest_run(order)[1] >= length for order in orders)
    assert run_as_long(length, lost, total) == pytest.approx(reached / len(orders), rel=1e-12)


def test_few_runs_match_the_published_table_and_counting() -> None:
    """Swed and Eisenhart 1943, five of each: P(at most 2, 3, 4 runs) = 0.008, 0.040, 0.167."""
    assert [round(runs_as_few(r, 5, 5), 3) for r in (2, 3, 4)] == [0.008, 0.040, 0.167]
    orders = [[i in chosen for i in range(9)] for chosen in itertools.combinations(range(9), 3)]
    for most in range(2, 8):
        reached = sum(count_runs(order) <= most for order in orders)
        assert runs_as_few(most, 3, 6) == pytest.approx(reached / len(orders), rel=1e-12)


def test_least_chance_is_that_of_the_most_one_sided_table() -> None:
    """Two bags of a jar, both lost, of 10 lost among 120."""
    assert least_chance(2, 10, 120) == more_lost(Table(2, 0, 8, 110))


def test_wilson_matches_newcombe_1998_and_statsmodels() -> None:
    """His examples 81/263, 15/148, 0/20, 1/29."""
    published = {(81, 263): (0.2553, 0.3662), (15, 148): (0.0624, 0.1605),
                 (0, 20): (0.0, 0.1611), (1, 29): (0.0061, 0.1718)}  # fmt: skip
    for (lost, total), ends in published.items():
        assert wilson(lost, total) == pytest.approx(ends, abs=5.1e-5)
        theirs = proportion_confint(lost, total, method="wilson")
        assert wilson(lost, total) == pytest.approx(theirs, abs=1e-12)


def test_beta_binomial_matches_scipy() -> None:
    """Chances and quantiles of a further dozen bags."""
    beta = Beta(0.8, 12.0).after(3, 5)
    theirs = scipy.stats.betabinom(12, beta.lost, beta.sound)
    assert beta.among(12) == pytest.approx([theirs.pmf(k) for k in range(13)], rel=1e-9)
    assert beta.among_interval(12) == (theirs.ppf(0.1), theirs.ppf(0.9))
    assert beta.interval() == pytest.approx(scipy.stats.beta(beta.lost, beta.sound).interval(0.8))


def test_groups_that_differ_are_held_to_little_and_alike_ones_to_much() -> None:
    """One lot of twelve lost whole says lots differ; twelve alike say a new one is like them."""
    differ = between_groups([(0, 12)] * 11 + [(12, 0)])
    alike = between_groups([(1, 11)] * 12)
    assert differ.lost + differ.sound < 4
    assert alike.lost + alike.sound > 100
    assert alike.mean == pytest.approx(1 / 12, abs=0.005)
    assert math.isclose(sum(alike.among(8)), 1.0)
