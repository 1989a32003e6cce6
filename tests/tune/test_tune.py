"""Tuning finds what is so in seasons whose truth is known, and says when it can't."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC

import numpy as np
import pytest

from monitor.cli.terminal import table
from monitor.judge.strain import Strain
from monitor.review.outcomes import End, endings
from monitor.review.predict import predict
from monitor.review.scan import Thresholds, first_calls, stretches
from monitor.review.tune import SHIPPED, Room, Tuning, candidates, tune
from monitor.review.tune_score import Costs, caught_and_days
from monitor.review.tune_words import HEADER, headline, table_rows
from tests.readme_examples import missing
from tests.tune.seasons import DAY_S, LIVELY_K, Plan, Season, season

COSTS = Costs(lost_bag=30.0, needless_walk=2.0, neighbour_per_day=4.0)
STRAINS = {"GO-12": Strain(name="GO-12")}


def rooms_of(drawn: Season) -> list[Room]:
    rooms = []
    for account, book in zip(drawn.accounts, drawn.books, strict=True):
        bags = account.frames[0].bags
        ends = endings(bags, book, account.frames[-1].end_s + DAY_S, 30 * DAY_S)
        rooms.append(Room(account, ends, predict(account, STRAINS.__getitem__).called_s))
    return rooms


@pytest.fixture(scope="module")
def drawn() -> Season:
    return season(7, Plan(runs=12, bags=24, bad=0.1))


@pytest.fixture(scope="module")
def rooms(drawn: Season) -> list[Room]:
    return rooms_of(drawn)


@pytest.fixture(scope="module")
def tuning(rooms: list[Room]) -> Tuning:
    return tune(rooms, "GO-12", STRAINS, COSTS)


def test_the_untidy_scan_gives_what_calls_give() -> None:
    """Bags unseen, handled, with lying probes, stalled: random thresholds, to the frame."""
    untidy = season(3, Plan(runs=2, bags=12, days=7.0, untidy=True, bad=0.3))
    draw = np.random.default_rng(5)
    tried = [
        Thresholds(float(a), float(b), float(c))
        for a, b, c in zip(
            draw.uniform(0.05, 1.5, 8), 10 ** draw.uniform(-1, 1.2, 8),
            draw.choice([0, 600, 3600, 7000, 14400], 8), strict=True,
        )
    ]  # fmt: skip
    kept = stretches(untidy.accounts, "GO-12", STRAINS)
    found = first_calls(kept, tried)
    assert np.isfinite(found).any()
    for column, one in enumerate(tried):
        strain = Strain("GO-12", least_excess_k=one.least_excess_k, hold_s=one.hold_s,
                        false_calls_per_100=one.false_calls_per_100)  # fmt: skip
        called = [predict(account, lambda _, s=strain: s).called_s for account in untidy.accounts]
        for place, (room, bag) in enumerate(kept.bags):
            assert found[place, column] == called[room].get(bag, np.inf), (bag, one)


def test_tune_moves_the_lively_strain_to_where_its_truth_is(tuning: Tuning) -> None:
    """The shipped 0.5 K calls every lively bag; nothing under 0.55 K is worth a walk."""
    assert tuning.proposed is not None
    assert tuning.shipped.false > 25
    assert tuning.proposed.thresholds.least_excess_k >= LIVELY_K
    assert tuning.proposed.false < 0.1 * tuning.shipped.false
    assert tuning.proposed.caught >= 0.95 * tuning.shipped.caught


def test_the_tuning_in_the_readme_is_told_so(tuning: Tuning) -> None:
    rows = table(HEADER, table_rows(tuning, "C", "£"))
    assert missing("Tuning", f"{headline(tuning, UTC)}\n{rows}") == []


def test_leave_one_run_out_confirms_what_was_fitted(tuning: Tuning) -> None:
    """Each run under what the others chose: dearer than the fitted, far below the shipped."""
    assert tuning.left_out is not None and tuning.proposed is not None
    assert tuning.left_out.cost is not None and tuning.shipped.cost is not None
    assert tuning.proposed.cost is not None
    assert tuning.proposed.cost <= tuning.left_out.cost < 0.4 * tuning.shipped.cost


def test_bags_that_change_sides_are_lively_ones_with_their_course(
    drawn: Season, tuning: Tuning
) -> None:
    kinds = {drawn.truth[int(one.room.split()[1]), one.bag] for one in tuning.sides}
    assert kinds == {"lively"}
    assert all(one.present_s and not one.proposed_s for one in tuning.sides)
    assert all(len(one.at_s) == len(one.course) > 20 for one in tuning.sides)


def test_false_calls_and_catches_are_counted_as_the_truth_has_them(
    drawn: Season, tuning: Tuning
) -> None:
    bad = sum(kind == "bad" for kind in drawn.truth.values())
    assert tuning.ends[End.BAD] == bad
    assert tuning.present.caught + tuning.present.missed + tuning.present.cut_off == bad
    assert tuning.shipped.healthy == len(drawn.truth) - bad


def test_a_strain_that_the_shipped_thresholds_fit_is_left_alone() -> None:
    calm = season(4, Plan(runs=6, bags=16, lively=0.0, bad=0.15))
    found = tune(rooms_of(calm), "GO-12", STRAINS, COSTS)
    assert found.proposed is not None and found.shipped.cost is not None
    assert found.proposed.cost is not None
    assert found.proposed.cost <= found.shipped.cost * 1.001


def test_two_bad_bags_in_one_run_are_too_little_to_tell() -> None:
    """The proposal is the shipped one, and that is said."""
    few = season(2, Plan(runs=1, bags=48, bad=0.05))
    found = tune(rooms_of(few), "GO-12", STRAINS, COSTS)
    assert found.choice is not None and found.proposed is not None
    assert found.choice.why_little.startswith(f"too little to tell: {found.ends[End.BAD]} bad bag")
    assert found.proposed.thresholds == SHIPPED


def test_bags_of_which_nothing_is_written_are_unknown_and_not_healthy() -> None:
    silent = season(6, Plan(runs=2, bags=40, noted=0.5))
    found = tune(rooms_of(silent), "GO-12", STRAINS, COSTS)
    assert found.ends[End.UNKNOWN] + found.ends[End.RUNNING] > 20
    assert found.present.healthy == found.ends[End.HEALTHY]


def test_without_costs_there_is_a_picture_and_no_proposal(rooms: list[Room]) -> None:
    found = tune(rooms[:4], "GO-12", STRAINS, None)
    assert found.proposed is None
    assert len(found.cloud) == len(candidates(SHIPPED)) - 1


def test_no_bag_of_the_strain_is_a_clear_word(rooms: list[Room]) -> None:
    with pytest.raises(ValueError, match="no bag of SH-7 was ever judged"):
        tune(rooms[:1], "SH-7", {**STRAINS, "SH-7": Strain("SH-7")}, COSTS)


def test_share_caught_is_the_product_limit_of_a_published_example() -> None:
    """Remission of 21 patients under 6-MP: S = .857, .807, .753, .690, .627, .538, .448 after
    6, 7, 10, 13, 16, 22, 23 weeks (Freireich and others 1963; table in Kalbfleisch and
    Prentice; from memory). Here 35 weeks are pressed into the days a bag is watched."""
    weeks = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
    seen = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
    day = np.array(weeks, dtype=float)[:, None] / 10.0
    called = np.array(seen, dtype=bool)[:, None]
    expected = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}
    for until, survival in expected.items():
        cut = np.where(day > until / 10.0, until / 10.0, day)
        event = called & (day <= until / 10.0)
        share, _ = caught_and_days(cut, event, np.ones(len(weeks)))
        assert share[0] == pytest.approx(1.0 - survival, abs=6e-4)


def test_predicted_change_is_what_the_applied_thresholds_do(drawn: Season, tuning: Tuning) -> None:
    """Calls stepped anew under the proposal call just the bags that the proposal counted."""
    assert tuning.proposed is not None
    new = tuning.proposed.thresholds
    strain = replace(
        STRAINS["GO-12"],
        least_excess_k=new.least_excess_k,
        false_calls_per_100=new.false_calls_per_100,
        hold_s=new.hold_s,
    )
    called = {
        (number, bag)
        for number, account in enumerate(drawn.accounts)
        for bag in predict(account, lambda _: strain).called_s
    }
    false = [one for one in called if drawn.truth[one] != "bad"]
    assert len(false) == tuning.proposed.false
