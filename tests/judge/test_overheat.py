"""Cores against their strain's limits: invented courses in, conditions at moments out."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from itertools import pairwise

import pytest

from monitor.judge.overheat import Overheat
from monitor.judge.strain import CoreLimit, Strain
from monitor.values import AlarmKind, Bag, Condition, Estimate, Reason, Urgency

HOUR_S = 3600.0
STEP_S = 600.0
BAG = Bag("QL-017", "B1", "GO-12", "L3", 0.0, 2.3, "R1", 5, 4, probe="p17")
GENERIC = Strain()


def estimate(at_s: float, core_c: float | None) -> Estimate:
    return Estimate(BAG.bag, at_s, 26.0, 23.0, 3.0, core_c=core_c, rate_k_per_h=0.1)


def follow(
    course: Callable[[float], float | None],
    hours: float,
    strain: Strain = GENERIC,
    overheat: Overheat | None = None,
    start_h: float = 0.0,
) -> list[tuple[float, Condition | None]]:
    """(hour, condition) at every frame of a core's course [h → °C]."""
    overheat = overheat or Overheat()
    said: list[tuple[float, Condition | None]] = []
    for number in range(1, round(hours * HOUR_S / STEP_S) + 1):
        hour = start_h + number * STEP_S / HOUR_S
        core = {BAG.bag: estimate(hour * HOUR_S, course(hour))}
        found = overheat.step(hour * HOUR_S, core, {BAG.bag: BAG}, lambda _: strain)
        assert len(found) <= 1
        said.append((hour, found[0] if found else None))
    return said


def first(
    said: Iterable[tuple[float, Condition | None]], urgency: Urgency
) -> tuple[float, Condition]:
    return next((h, c) for h, c in said if c is not None and c.urgency is urgency)


def test_a_healthy_peak_is_never_called_overheating() -> None:
    def peak(hour: float) -> float:
        day = 1.5 if 7 <= hour % 24 < 22 else 0.0  # the morning after a set-back
        return 22.0 + day + 7.0 * max(0.0, 1 - abs(hour - 110) / 70)

    assert all(condition is None for _, condition in follow(peak, 240))


def test_a_limit_is_called_a_day_and_then_six_hours_before_its_duration_is_over() -> None:
    said = follow(lambda _: 33.0, 100)
    today_h, today = first(said, Urgency.TODAY)
    now_h, now = first(said, Urgency.NOW)
    assert today_h == pytest.approx(72, abs=0.5)
    assert now_h == pytest.approx(90, abs=0.5)
    assert today.reason is now.reason is Reason.CORE_LIMIT
    assert (now.kind, now.subject) == (AlarmKind.OVERHEATING, "QL-017")
    assert (now.facts.limit_c, now.facts.limit_duration_s) == (31.5, 96 * HOUR_S)
    assert now.facts.reached_in_s is not None
    assert now.facts.reached_in_s < 6 * HOUR_S
    assert (now.facts.rack, now.facts.shelf, now.facts.slot) == ("R1", 5, 4)
    assert (now.facts.core_c, now.facts.strain) == (33.0, "GO-12")
    last = said[-1][1]
    assert last is not None
    assert last.facts.reached_in_s == 0.0


def test_a_core_at_the_highest_limit_is_called_at_once() -> None:
    hour, condition = first(follow(lambda hour: 40.0 if hour > 5 else 30.0, 8), Urgency.NOW)
    assert hour == pytest.approx(5.17, abs=0.01)
    assert condition.facts.limit_c == 40.0


def test_a_core_on_its_way_to_the_highest_limit_is_forecast() -> None:
    said = follow(lambda hour: 28.0 + 1.5 * max(0.0, hour - 10), 18)
    hour, condition = first(said, Urgency.NOW)
    assert condition.reason is Reason.CORE_FORECAST
    assert condition.facts.limit_c == 40.0
    assert condition.facts.reached_in_s is not None
    reached_h = hour + condition.facts.reached_in_s / HOUR_S
    assert hour < 18 - 1.5, "called hours before it is there"
    assert reached_h == pytest.approx(18.5, abs=3.0)


def test_a_rise_is_drawn_on_as_one_that_levels_off() -> None:
    """0.3 K an hour, 2 K short of the limit: 12 h · ln(1 / (1 − 2 / 3.6)), not 2 / 0.3 hours."""
    limit = Strain(core_limits=(CoreLimit(40.0, 1800.0),))
    (_, condition) = follow(lambda hour: 38.0 + 0.3 * (hour - 10.0), 10, limit)[-1]
    assert condition is not None and condition.facts.reached_in_s is not None
    assert condition.facts.reached_in_s / HOUR_S == pytest.approx(9.73 + 0.5, abs=0.5)
    slow = follow(lambda hour: 38.0 + 0.15 * (hour - 10.0), 10, limit)
    assert slow[-1][1] is None, "it would level off before it is there"


def test_rest_below_a_limit_drains_what_was_kept() -> None:
    # 18 h over 36 °C and 6 h under it each day: 12 h a day are kept, two days use up 24 h
    said = follow(lambda hour: 36.5 if hour % 24 < 18 else 33.0, 60)
    called = {
        round(h // 24) for h, c in said if c and c.urgency is Urgency.NOW and c.facts.limit_c == 36
    }
    assert called == {1, 2}


def test_a_few_hours_over_a_limit_each_day_never_add_up() -> None:
    """4 h over 36 °C and 20 h of rest: each night drains what the day had kept."""
    said = follow(lambda hour: 36.5 if hour % 24 < 4 else 27.0, 9 * 24)
    pressing = [c for _, c in said if c and c.urgency is Urgency.NOW]
    assert not [c for c in pressing if c.reason is Reason.CORE_LIMIT]


def test_a_dip_of_a_tenth_does_not_make_the_call_flicker() -> None:
    said = follow(lambda hour: 36.0 + (0.1 if round(hour * 6) % 2 else -0.1), 40)
    stands = [condition is not None for _, condition in said]
    assert stands.count(True) > 100
    assert sum(a != b for a, b in pairwise(stands)) == 1


def test_a_call_clears_two_hours_after_the_core_has_cooled() -> None:
    said = follow(lambda hour: 40.5 if hour < 10 else 27.0, 14)
    last = max(hour for hour, condition in said if condition is not None)
    assert 11.5 < last <= 12.5


def test_a_bag_that_falls_silent_keeps_its_call_for_hours_and_counts_nothing() -> None:
    said = follow(lambda hour: 40.5 if hour < 2 else None, 12)
    last = max(hour for hour, condition in said if condition is not None)
    assert last == pytest.approx(2 + 6, abs=0.4)


def test_a_gap_is_not_time_over_a_limit() -> None:
    overheat = Overheat()
    follow(lambda _: 36.5, 2, overheat=overheat)
    said = follow(lambda _: 36.5, 1, overheat=overheat, start_h=14)
    assert said[-1][1] is not None
    assert said[-1][1].facts.reached_in_s == pytest.approx(21 * HOUR_S, abs=HOUR_S / 2)


def test_a_bag_that_left_the_book_is_forgotten() -> None:
    overheat = Overheat()
    follow(lambda _: 40.5, 2, overheat=overheat)
    assert overheat.step(3 * HOUR_S, {}, {}, lambda _: GENERIC) == ()
    assert overheat.state() == {}


def test_each_strain_is_held_to_its_own_limits() -> None:
    pioppino = Strain(
        "PI-2", known=True, core_limits=(CoreLimit(32.0, 24 * HOUR_S), CoreLimit(36.0, 2 * HOUR_S))
    )
    hour, condition = first(follow(lambda _: 32.5, 30, pioppino), Urgency.NOW)
    assert hour == pytest.approx(18, abs=0.5)
    assert (condition.facts.limit_c, condition.facts.strain) == (32.0, "PI-2")
    assert all(c is None for _, c in follow(lambda _: 45.0, 4, Strain(core_limits=())))


def test_many_hot_bags_are_each_called() -> None:
    bags = {
        f"QL-{n:03d}": Bag(f"QL-{n:03d}", "B", "GO-12", "L", 0, 2, "R1", 1, n) for n in range(9)
    }
    cores = {code: Estimate(code, STEP_S, 30.0, 24.0, 6.0, core_c=41.0) for code in bags}
    found = Overheat().step(STEP_S, cores, bags, lambda _: GENERIC)
    assert [condition.subject for condition in found] == sorted(bags)


def test_a_resumed_watch_says_exactly_what_an_unbroken_one_says() -> None:
    whole, resumed = Overheat(), Overheat()
    for hour in range(1, 90):
        core_c = 30.0 + 3.0 * (hour % 7) + hour / 20
        args = ({BAG.bag: estimate(hour * HOUR_S, core_c)}, {BAG.bag: BAG}, lambda _: GENERIC)
        if hour % 5 == 0:
            kept = json.loads(json.dumps(resumed.state()))
            resumed = Overheat()
            resumed.restore(kept)
        assert resumed.step(hour * HOUR_S, *args) == whole.step(hour * HOUR_S, *args)
