"""Break and shake: growth rests, each bag for a time of its own, and begins anew."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from monitor.judge.cohort import Spread
from monitor.judge.evidence import Judge, JudgeParams
from monitor.judge.sessions import REST_H, sessions
from monitor.judge.strain import HeatPrior
from monitor.values import Bag, BookEntry, Frame, Reason
from tests.judge.test_evidence import (
    HOUR_S,
    START_S,
    Grown,
    Run,
    book,
    cohort,
    frames,
    ramp,
    run,
)

SHAKEN_H = 50.0
CALLS = (Reason.ADDED_HEAT, Reason.COLDER, Reason.NEVER_WARMED, Reason.EARLIER_RUNS)


@dataclass(frozen=True)
class Shaken(Grown):
    """A bag whose growth rests for `rest_h` after it was shaken; its heat dies down meanwhile, and
    comes back within hours."""

    rest_h: float = 0.0

    def warmth_k(self, age_h: float) -> float:
        grown_h = min(age_h, SHAKEN_H) + max(0.0, age_h - SHAKEN_H - self.rest_h)
        still = max(0.0, min(age_h - SHAKEN_H, self.rest_h))
        again = max(0.0, age_h - SHAKEN_H - self.rest_h)
        alive = 1.0 - (1.0 - math.exp(-still / 4.0)) * math.exp(-again / 6.0)
        heat_k = super().warmth_k(grown_h) - self.offset_k - self.more(grown_h)
        return heat_k * alive + self.offset_k + self.more(age_h)


def shaken(count: int, seed: int) -> dict[str, Grown]:
    """A cohort shaken on its third day, each bag resting 24 to 72 h."""
    random = np.random.default_rng(seed)
    return {
        name: Shaken(**{**vars(bag), "rest_h": random.uniform(24.0, 72.0)})
        for name, bag in cohort(count, seed).items()
    }


def entries(names: list[str], at_h: float = SHAKEN_H) -> tuple[BookEntry, ...]:
    return tuple(BookEntry(START_S + at_h * HOUR_S, name, "shaken") for name in names)


def called(done: Run, bags: Iterable[str], from_h: float = 0.0) -> dict[str, int]:
    """The bags called hot or stalled, and the hour of it; nothing is called of a handled bag."""
    found: dict[str, int] = {}
    for hour, verdicts in enumerate(done.hours):
        for bag in bags:
            if hour >= from_h and verdicts[bag][1].reason in CALLS:
                found.setdefault(bag, hour)
    return found


def test_of_cohorts_that_were_shaken_hardly_a_bag_is_called_and_many_with_nothing_booked() -> None:
    """Fifty bags, whose rests differ by up to two days."""
    booked = unbooked = 0
    for seed in range(5):
        bags = shaken(10, seed)
        made, names = frames(bags, 240), list(bags)
        booked += len(called(run(made, book(names), entries(names)), names, SHAKEN_H))
        unbooked += len(called(run(made, book(names)), names, SHAKEN_H))
    assert booked <= 2
    assert unbooked >= 15


def test_a_bag_that_goes_bad_after_a_shake_is_called() -> None:
    bags = shaken(10, 3)
    bags["Q02"] = replace(bags["Q02"], more=ramp(140.0, 2.0))
    done = run(frames(bags, 240), book(list(bags)), entries(list(bags)))
    assert 140 < called(done, bags, SHAKEN_H)["Q02"] < 180


def one_was_hot() -> tuple[list[Frame], dict[str, Bag], tuple[BookEntry, ...]]:
    """A room in which a bag was called before its cohort was shaken."""
    bags = shaken(10, 4)
    bags["Q02"] = replace(bags["Q02"], more=ramp(15.0, 2.0))
    return frames(bags, 200), book(list(bags)), entries(list(bags))


def test_what_spoke_against_a_bag_before_a_shake_still_does_after_it() -> None:
    done = run(*one_was_hot())
    before = done.hours[int(SHAKEN_H) - 1]["Q02"][1]
    assert before.hot > before.hot_needed
    for hour in (60, 100, 120):
        assert done.hours[hour]["Q02"][1].hot == before.hot, "it stands while growth rests"
    for hour in (130, 150):
        told = done.hours[hour]["Q02"][1]
        assert told.hot > told.hot_needed


def test_what_is_read_after_a_shake_is_added_to_what_spoke_against_the_bag_before() -> None:
    made, planned, told = one_was_hot()
    state = run(made[:130], planned, told).judge.state()
    carried = state["carried"]["Q02"]
    assert carried > 5.0
    assert all(nats >= 0.0 for nats in state["carried"].values())
    hot = []
    for brought in (state["carried"], dict.fromkeys(planned, 0.0)):
        judge = Judge()
        judge.restore({**state, "carried": brought})
        after = run(made[130:133], planned, judge=judge).judge.state()
        hot.append(after["standing"]["Q02"]["hot"])
    assert hot[0] - hot[1] == pytest.approx(carried)


def test_a_shake_leaves_what_the_room_shared_before_it_as_it_was() -> None:
    """The fit of what was read before stays that of the course before."""
    made, planned, told = one_was_hot()
    before, after = (run(made[:hours], planned, told).judge.state() for hours in (49, 140))
    column, rows = before["history"]["bags"].index("Q03"), len(before["history"]["predicted"])
    fits = [
        [row[column] for row in one["history"]["predicted"][: rows - 1]] for one in (before, after)
    ]
    assert fits[0] == fits[1]


def test_a_cohort_whose_bags_rested_long_and_short_is_not_said_to_look_like_two() -> None:
    bags = {
        name: Shaken(**{**vars(bag), "rest_h": 24.0 if place % 2 else 72.0})
        for place, (name, bag) in enumerate(cohort(12, 8).items())
    }
    judge, planned = Judge(), book(list(bags))
    for entry in entries(list(bags)):
        judge.note(entry)
    air_c = dict.fromkeys(bags, 22.0)
    for frame in frames(bags, 240):
        judge.step(frame, planned, air_c, air_c, {})
        assert not judge.findings()


def test_a_bag_that_left_is_forgotten_with_what_it_carried() -> None:
    made, planned, told = one_was_hot()
    judge = Judge(JudgeParams(forget_s=24.0 * HOUR_S))
    done = run(
        made[:100], planned, told, judge, gone=lambda name, hour: name == "Q02" and hour > 60
    )
    assert "Q02" not in done.judge.state()["carried"]
    assert "Q03" in done.judge.state()["carried"]


def test_a_bag_shaken_alone_is_no_mate_of_the_others_any_more() -> None:
    """It runs two days late, which is no stall."""
    bags: dict[str, Grown] = dict(cohort(8, seed=5))
    bags["Q02"] = Shaken(**{**vars(bags["Q02"]), "rest_h": 48.0})
    done = run(frames(bags, 240), book(list(bags)), entries(["Q02"]))
    assert not called(done, bags)
    assert done.hours[-1]["Q02"][1].peers == 0
    assert done.hours[-1]["Q01"][1].peers == 6


def test_a_stopped_judge_goes_on_exactly_after_a_shake() -> None:
    made, planned, told = one_was_hot()
    whole = run(made[:150], planned, told)
    first = run(made[:70], planned, told)
    resumed = Judge()
    resumed.restore(json.loads(json.dumps(first.judge.state())))
    rest = run(made[70:150], planned, judge=resumed)
    assert rest.hours[-1] == whole.hours[-1]


def test_who_was_shaken_together_runs_alike_from_then_on() -> None:
    bags = book([f"Q{number}" for number in range(6)])
    hour = {"Q1": 40.0, "Q2": 41.5, "Q3": 52.0, "Q4": 90.0}
    shaken_s = {bag: START_S + at_h * HOUR_S for bag, at_h in hour.items()}
    found = sessions(bags, shaken_s)
    assert [(one.bags, (one.begun_s - START_S) / HOUR_S) for one in found.values()] == [
        (["Q0", "Q5"], 0.0),
        (["Q1", "Q2", "Q3"], 40.0),
        (["Q4"], 90.0),
    ]
    assert [name for name, one in found.items() if not one.shaken] == [bags["Q0"].cohort]


def test_what_is_expected_after_a_shake_comes_later_and_differs_more() -> None:
    bags = book(["Q0", "Q1"])
    grown, anew = sessions(bags, {"Q1": START_S + 40.0 * HOUR_S}).values()
    strain, spread = HeatPrior(peak_h=100.0, peak_h_sd=20.0), Spread()
    assert grown.prior(strain) is strain and grown.spread(spread) is spread
    assert anew.prior(strain).peak_h == 100.0 - 40.0 + REST_H
    assert 20.0 < anew.prior(strain).peak_h_sd < 30.0
    assert anew.spread(spread).lead_h > 1.5 * spread.lead_h
    late = sessions(bags, {"Q1": START_S + 150.0 * HOUR_S})
    assert [one.prior(strain).peak_h for one in late.values()][1] > REST_H
