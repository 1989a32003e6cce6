"""The judge on invented cohorts: what is called, what is not, and that nothing else decides.

The invented bags follow a bell with a plateau and a first-order lag, not the judge's curve.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import pytest

from monitor.judge.evidence import Judge
from monitor.judge.looks import LookParams
from monitor.judge.params import JudgeParams
from monitor.values import Bag, BookEntry, Estimate, Evidence, Frame, HandReading, Mean, Reason

HOUR_S = 3600.0
START_S = 1_768_176_000.0


@dataclass(frozen=True)
class Grown:
    """One invented bag: its peak [K], its age then [h], its width [h], its constant warmth [K];
    heat added or lost [K] by age [h]; how long its heat stands at its height [h]."""

    peak_k: float = 2.0
    peak_h: float = 80.0
    width_h: float = 17.0
    offset_k: float = 0.0
    more: Callable[[float], float] = field(default=lambda age_h: 0.0)
    held_h: float = 0.0

    def warmth_k(self, age_h: float) -> float:
        since_h = age_h - self.peak_h
        z = min(since_h, max(0.0, since_h - self.held_h)) / self.width_h
        plateau = 0.22 * 0.5 * (1.0 + math.erf(since_h / self.width_h / math.sqrt(2.0)))
        return self.peak_k * (math.exp(-0.5 * z * z) + plateau) + self.offset_k + self.more(age_h)


def cohort(count: int = 8, seed: int = 1) -> dict[str, Grown]:
    random = np.random.default_rng(seed)
    return {
        f"Q{number:02d}": Grown(
            2.0 * random.normal(1.0, 0.1), random.normal(80.0, 6.0), 17.0, random.normal(0.0, 0.25)
        )
        for number in range(count)
    }


def ramp(onset_h: float, size_k: float) -> Callable[[float], float]:
    return lambda age_h: size_k / (1.0 + math.exp(-(age_h - onset_h - 10.0) / 5.0))


Verdicts = dict[str, tuple[Estimate, Evidence]]


@dataclass
class Run:
    """One run of a room: the judge, and each hour's verdicts."""

    judge: Judge
    hours: list[Verdicts]

    def called(self, bag: str, hot: bool = True) -> float | None:
        """The age [h] at which the bag was first over its bar."""
        for hour, verdicts in enumerate(self.hours):
            if bag not in verdicts:
                continue
            one = verdicts[bag][1]
            over = one.hot >= one.hot_needed if hot else one.stalled >= one.stalled_needed
            if over and one.excess_k is not None and abs(one.excess_k) >= 0.3:
                return float(hour)
        return None


def frames(
    bags: dict[str, Grown], hours: int, seed: int = 2, by_hand: bool = False, noise_k: float = 0.04
) -> list[Frame]:
    random = np.random.default_rng(seed)
    made = []
    for hour in range(hours):
        end_s = START_S + (hour + 1) * HOUR_S
        shared = 0.15 * math.sin(hour / 24.0 * 2.0 * math.pi)
        read = {
            name: 22.0 + shared + bag.warmth_k(hour + 0.5) + random.normal(0.0, noise_k)
            for name, bag in bags.items()
        }
        hand: tuple[HandReading, ...] = ()
        surface = {name: Mean(value, 6, end_s - 60.0) for name, value in read.items()}
        if by_hand:
            surface = {}
            if hour % 24 in (8, 17):
                drift = random.normal(0.0, 0.3)
                hand = tuple(
                    HandReading(name, value + drift + random.normal(0.0, 0.25), end_s - 60.0)
                    for name, value in read.items()
                )
        made.append(Frame(end_s, HOUR_S, {}, surface, {}, hand))
    return made


def book(names: list[str], strain: str = "GO-12", lot: str = "L1") -> dict[str, Bag]:
    return {
        name: Bag(name, "batch", strain, lot, START_S, 2.4, "R1", 1 + place % 5, place)
        for place, name in enumerate(names)
    }


def run(
    made: list[Frame],
    bags: dict[str, Bag],
    entries: tuple[BookEntry, ...] = (),
    judge: Judge | None = None,
    gone: Callable[[str, int], bool] = lambda name, hour: False,
) -> Run:
    judge = judge or Judge()
    hours = []
    left = sorted(entries, key=lambda entry: entry.at_s)
    for hour, frame in enumerate(made):
        while left and left[0].at_s < frame.end_s:
            judge.note(left.pop(0))
        live = {name: bag for name, bag in bags.items() if not gone(name, hour)}
        surface = {name: mean for name, mean in frame.surface_c.items() if name in live}
        air = dict.fromkeys(live, 22.0)
        hours.append(judge.step(replace(frame, surface_c=surface), live, air, air, {}))
    return Run(judge, hours)


@cache
def troubled() -> Run:
    """A cohort with one bag of added heat, one stalled, and the rest healthy."""
    bags = cohort()
    bags["Q03"] = replace(bags["Q03"], more=ramp(100.0, 2.0))
    bags["Q05"] = replace(bags["Q05"], peak_k=0.0)
    return run(frames(bags, 180), book(list(bags)))


def test_a_bag_with_added_heat_is_called_within_a_day_and_no_other() -> None:
    done = troubled()
    at_h = done.called("Q03")
    assert at_h is not None and 100.0 < at_h < 124.0
    assert [bag for bag in done.hours[-1] if done.called(bag) is not None] == ["Q03"]
    verdict = done.hours[-1]["Q03"][1]
    assert verdict.reason is Reason.ADDED_HEAT
    assert verdict.excess_k == pytest.approx(2.0, abs=0.5)
    assert verdict.onset_s is not None
    assert (verdict.onset_s - START_S) / HOUR_S == pytest.approx(110.0, abs=12.0)


def test_a_bag_that_never_warms_is_called_stalled_and_no_other() -> None:
    done = troubled()
    assert done.called("Q05", hot=False) is not None
    stalled = [bag for bag in done.hours[-1] if done.called(bag, hot=False) is not None]
    assert stalled == ["Q05"]
    assert any(hour["Q05"][1].reason is Reason.NEVER_WARMED for hour in done.hours if "Q05" in hour)


def test_a_stalled_bag_still_lacks_the_peak_it_never_had_a_day_after_its_cohorts() -> None:
    """At 110 h the others have fallen to 0.9 K; what it lost is the 2 K of two days back."""
    excess_k = troubled().hours[110]["Q05"][1].excess_k
    assert excess_k is not None and -2.6 < excess_k < -1.4


def test_the_estimates_hold_heat_and_core_above_surface() -> None:
    estimate = troubled().hours[110]["Q01"][0]
    assert estimate.heat_w_per_kg is not None and estimate.core_c is not None
    assert estimate.heat_low_w_per_kg is not None and estimate.core_low_c is not None
    assert estimate.heat_low_w_per_kg < estimate.heat_w_per_kg < estimate.heat_high_w_per_kg
    assert estimate.core_low_c < estimate.core_c < estimate.core_high_c


def test_a_bag_ahead_by_fifteen_hours_is_not_called() -> None:
    bags = cohort(seed=4)
    bags["Q02"] = replace(bags["Q02"], peak_h=65.0)
    done = run(frames(bags, 110), book(list(bags)))
    assert done.called("Q02") is None
    assert done.hours[-1]["Q02"][1].shift_h == pytest.approx(15.0, abs=6.0)


def test_a_bag_twelve_per_cent_stronger_is_not_called() -> None:
    bags = cohort(seed=5)
    bags["Q02"] = replace(bags["Q02"], peak_k=2.24)
    assert run(frames(bags, 110), book(list(bags))).called("Q02") is None


def test_warm_bags_that_stray_from_any_curve_by_a_tenth_of_their_heat_are_not_called() -> None:
    """No bag follows a formula; the warmer it is, the more of a difference that makes."""
    bags = {name: replace(bag, peak_k=2.0 * bag.peak_k) for name, bag in cohort(seed=22).items()}
    for place, (name, bag) in enumerate(bags.items()):

        def strays(age_h: float, bag: Grown = bag, at: float = 0.8 * place) -> float:
            heat_k = bag.warmth_k(age_h) - bag.offset_k
            return 0.1 * heat_k * math.sin(2.0 * math.pi * age_h / 60.0 + at)

        bags[name] = replace(bag, more=strays)
    done = run(frames(bags, 150), book(list(bags)))
    assert not [bag for bag in bags if done.called(bag) or done.called(bag, hot=False)]


def test_pulling_half_of_a_cohort_calls_nobody() -> None:
    bags = cohort(seed=6)
    names = sorted(bags, key=lambda name: bags[name].offset_k)
    pulled = set(names[:4])
    done = run(
        frames(bags, 130), book(list(bags)), gone=lambda name, hour: hour > 70 and name in pulled
    )
    assert not [bag for bag in names[4:] if done.called(bag) or done.called(bag, hot=False)]


def test_a_bag_moved_at_noon_is_a_step_and_not_heat() -> None:
    bags = cohort(seed=7)
    bags["Q02"] = replace(bags["Q02"], more=lambda age_h: 0.9 if age_h > 110.0 else 0.0)
    entry = BookEntry(START_S + 110.0 * HOUR_S, "Q02", "moved")
    made = frames(bags, 150)
    assert run(made, book(list(bags)), (entry,)).called("Q02") is None


def test_moving_a_hot_bag_is_no_reason_to_forget_its_evidence() -> None:
    bags = cohort(seed=8)
    bags["Q02"] = replace(bags["Q02"], more=ramp(100.0, 2.5))
    entry = BookEntry(START_S + 130.0 * HOUR_S, "Q02", "moved")
    last = run(frames(bags, 160), book(list(bags)), (entry,)).hours[-1]["Q02"][1]
    assert last.hot >= last.hot_needed


def test_a_cohort_of_two_says_that_it_has_few_peers() -> None:
    bags = cohort(2, seed=9)
    done = run(frames(bags, 100), book(list(bags)))
    assert done.hours[-1]["Q00"][1].peers == 1
    assert done.hours[-1]["Q00"][1].reason is Reason.FEW_PEERS
    assert done.called("Q00") is None and done.called("Q01") is None


def test_hand_walks_twice_a_day_find_the_hot_bag_and_no_other() -> None:
    bags = cohort(10, seed=10)
    bags["Q04"] = replace(bags["Q04"], more=ramp(100.0, 2.0))
    done = run(frames(bags, 190, by_hand=True), book(list(bags)))
    at_h = done.called("Q04")
    assert at_h is not None and 100.0 < at_h < 150.0
    assert [bag for bag in bags if done.called(bag) is not None] == ["Q04"]


def test_a_thermometer_that_reads_warmer_from_some_walk_on_makes_hardly_a_bag_hot() -> None:
    """0.9 K more from the tenth day on, in both lots: thirteen of sixteen were called for it when
    each lot's course was all there was to tell it from heat."""
    others = {f"P{n:02d}": bag for n, bag in enumerate(cohort(8, 5).values())}
    plan = book(list(cohort(8))) | book(list(others), "AM-3", "L2")
    made = [
        replace(
            frame,
            hand=tuple(
                replace(one, surface_c=one.surface_c + (0.9 if hour > 228 else 0.0))
                for one in frame.hand
            ),
        )
        for hour, frame in enumerate(frames(cohort(8, seed=12) | others, 290, by_hand=True))
    ]
    done = run(made, plan)
    assert len([name for name in plan if done.called(name) is not None]) <= 2


def test_a_lot_that_goes_bad_bag_by_bag_is_called_to_the_last_and_stays_called() -> None:
    """The first are called beside healthy mates; what they read since tells the others nothing."""
    bags = {
        name: replace(bag, more=ramp(60.0 + 10.0 * place, 2.5))
        for place, (name, bag) in enumerate(cohort(seed=5).items())
    }
    done = run(frames(bags, 240), book(list(bags)))
    for name in bags:
        evidence = done.hours[-1][name][1]
        assert done.called(name) is not None
        assert evidence.hot >= evidence.hot_needed


def test_a_cohort_that_cools_as_one_late_in_its_run_has_no_stalled_bag() -> None:
    """0.9 K less of all ten, of which one had lost its heat before: only that one is called."""
    bags = cohort(10, seed=3)
    bags["Q02"] = replace(bags["Q02"], more=ramp(60.0, -2.0))
    cooler = {
        name: replace(bag, more=lambda age_h, own=bag.more: own(age_h) + ramp(165.0, -0.9)(age_h))
        for name, bag in bags.items()
    }
    others = {f"P{number:02d}": replace(bag) for number, bag in enumerate(cohort(12, 4).values())}
    plan = book(list(cooler)) | book(list(others), "AM-3", "L2")
    done = run(frames(cooler | others, 230), plan)
    stalled = [name for name in plan if done.called(name, hot=False) is not None]
    assert stalled == ["Q02"]


def test_a_bag_that_loses_nearly_all_its_heat_is_told_apart_sooner_than_by_any_share() -> None:
    """Weighed as what a stalled bag loses, and its mates are not told to lack as much for that."""
    bags = cohort(seed=6)
    own = bags["Q05"].warmth_k

    def lost(age_h: float) -> float:
        return -0.9 * (own(age_h) - bags["Q05"].offset_k) / (1.0 + math.exp((60.0 - age_h) / 6.0))

    dying = bags | {"Q05": replace(bags["Q05"], more=lost)}
    made, names = frames(dying, 110), book(list(bags))
    any_share = LookParams(lost_share=0.0, lost_share_sd=0.5)
    done, other = run(made, names), run(made, names, judge=Judge(JudgeParams(look=any_share)))
    assert done.hours[82]["Q05"][1].stalled > other.hours[82]["Q05"][1].stalled + 1.5
    told = done.judge.state()["standing"]
    assert told["Q05"]["lost_k"] > 1.2
    assert np.median([told[name]["lost_k"] for name in bags if name != "Q05"]) < 0.65


def test_a_bag_without_readings_is_said_to_have_no_signal() -> None:
    bags = cohort(5, seed=11)
    made = [
        replace(
            frame, surface_c={n: m for n, m in frame.surface_c.items() if n != "Q02" or hour < 30}
        )
        for hour, frame in enumerate(frames(bags, 80))
    ]
    done = run(made, book(list(bags)))
    assert done.hours[-1]["Q02"][1].reason is Reason.NO_SIGNAL


def test_a_stopped_judge_goes_on_exactly_where_it_was() -> None:
    bags = cohort(5, seed=12)
    made, plan = frames(bags, 100), book(list(bags))
    whole = run(made, plan)
    first = run(made[:61], plan)
    second = Judge()
    second.restore(json.loads(json.dumps(first.judge.state())))
    rest = run(made[61:], plan, judge=second)
    assert rest.hours == whole.hours[61:]
    assert second.state() == whole.judge.state()


def test_the_order_of_readings_and_the_names_of_strain_and_lot_change_nothing() -> None:
    bags = cohort(5, seed=13)
    made = frames(bags, 90)
    plain = run(made, book(list(bags)))
    shuffled = [replace(one, surface_c=dict(reversed(one.surface_c.items()))) for one in made]
    assert run(shuffled, book(list(bags))).hours == plain.hours
    renamed = run(made, book(list(bags), "SH-7", "another"))
    for before, after in zip(plain.hours, renamed.hours, strict=True):
        assert {bag: one.hot for bag, (_, one) in before.items()} == {
            bag: one.hot for bag, (_, one) in after.items()
        }


@pytest.mark.parametrize("named_h", [40, 118], ids=["named at once", "named when long silent"])
def test_a_bag_whose_probe_lies_is_still_called_from_hand_readings(named_h: int) -> None:
    """What hands read stands, also that from before the probe was found to have lied."""
    bags = cohort(6, seed=14)
    bags["Q02"] = replace(bags["Q02"], more=ramp(60.0, 3.0))
    plan, judge = book(list(bags)), Judge()
    called = []
    for hour, frame in enumerate(frames(bags, 150)):
        surface = {n: m for n, m in frame.surface_c.items() if n != "Q02" or hour < 40}
        hand = ()
        if hour >= 40 and hour % 12 == 8:
            read = frame.surface_c["Q02"]
            hand = (HandReading("Q02", read.mean, read.last_s),)
        misled = {"Q02": START_S + 35 * HOUR_S} if hour >= named_h else {}
        air = dict.fromkeys(plan, 22.0)
        seen = replace(frame, surface_c=surface, hand=hand)
        verdict = judge.step(seen, plan, air, air, misled)["Q02"][1]
        called.append(verdict.hot >= verdict.hot_needed)
    assert not any(called[:60]) and all(called[122:])


def test_values_from_before_a_probe_was_named_faulty_are_taken_back() -> None:
    bags = cohort(6, seed=14)
    bags["Q02"] = replace(bags["Q02"], more=lambda age_h: -1.5 if age_h > 84.0 else 0.0)
    plan, judge = book(list(bags)), Judge()
    worst = -math.inf
    for hour, frame in enumerate(frames(bags, 130)):
        apart = {"Q02": frame.end_s - 5 * 3600.0} if hour >= 89 else {}
        surface = {n: m for n, m in frame.surface_c.items() if n not in apart}
        air = dict.fromkeys(plan, 22.0)
        verdict = judge.step(replace(frame, surface_c=surface), plan, air, air, apart)["Q02"][1]
        worst = max(worst, verdict.stalled - verdict.stalled_needed)
    assert worst < 0.0
