"""Limits of the checks on readings and probes, each from both sides."""

from __future__ import annotations

import pytest

from monitor.judge.quality import Quality, QualityParams
from monitor.values import Flag, Probe, Quantity, Reading, Reason
from tests.judge.test_quality import (
    HOUR,
    PLAN,
    named_beside_resting_bags,
    settled,
    temperature,
)

FRAME = 600.0


def faults_of(checker: Quality, end_s: float, probe: str = "p1") -> list[Reason]:
    return [one.reason for one in checker.close(end_s, {"p1": 21.0}) if one.probe == probe]


def test_a_slow_move_over_a_long_gap_is_no_jump() -> None:
    """3 K an hour and 2.5 K more; the same step within a frame is too fast for a bag."""
    checker, end_s = settled(24.0)
    assert checker.check(temperature("p1", end_s, 33.0)).flags == (Flag.RATE,)
    checker, end_s = settled(24.0)
    assert checker.check(temperature("p1", end_s + 4 * HOUR, 33.0)).flags == ()


def test_values_that_leap_about_are_never_taken_for_a_new_level() -> None:
    checker, end_s = settled(24.0)
    for step, value_c in enumerate((30.0, 38.0, 30.0, 38.0, 30.0, 38.0)):
        at_s = end_s + FRAME * step
        assert checker.check(temperature("p1", at_s, value_c)).flags == (Flag.RATE,)
        assert Reason.PROBE_JUMPED not in faults_of(checker, at_s + FRAME)


def test_a_jump_is_told_for_two_hours_and_then_the_new_level_is_believed() -> None:
    checker, end_s = settled(28.0)
    named_h = []
    for step in range(24):
        at_s = end_s + FRAME * step
        checker.check(temperature("p1", at_s, 23.5 + 0.0625 * (step % 2)))
        checker.check(temperature("air", at_s, 21.0 + 0.5 * (step % 2)))
        if Reason.PROBE_JUMPED in faults_of(checker, at_s + FRAME):
            named_h.append((at_s + FRAME - end_s) / HOUR)
    assert named_h[0] == pytest.approx(0.5) and named_h[-1] == pytest.approx(2.0)


def test_a_probe_whose_readings_all_come_late_is_not_silent() -> None:
    """A logger that sends each frame's reading after its close; it speaks all the same."""
    checker, end_s = settled()
    for step in range(24):
        at_s = end_s + FRAME * step
        late = checker.check(temperature("p1", at_s - 30.0, 24.0 + 0.01 * step))
        assert Flag.LATE in late.flags
        assert Reason.PROBE_SILENT not in faults_of(checker, at_s + FRAME)


@pytest.mark.parametrize(
    ("percent", "named_after_h"), [(71.0, 12.0), (100.0, None)], ids=["at rest", "misted"]
)
def test_humidity_may_rest_half_a_day_and_at_saturation_as_long_as_it_likes(
    percent: float, named_after_h: float | None
) -> None:
    checker, named_h = Quality(QualityParams(), PLAN), []
    for frame in range(6 * 20):
        at_s = FRAME * frame
        checker.check(Reading("rh", Quantity.HUMIDITY, percent, at_s, at_s))
        if Reason.PROBE_STUCK in faults_of(checker, at_s + FRAME, "rh"):
            named_h.append(at_s / HOUR)
    assert next(iter(named_h), None) == named_after_h


def test_a_probe_that_begins_far_over_its_surroundings_is_named_without_a_climb() -> None:
    named = named_beside_resting_bags(lambda hour: 31.0)
    assert named == {("b0", Reason.PROBE_IMPOSSIBLE)}
    assert named_beside_resting_bags(lambda hour: 29.0) == set()


def test_a_cold_bag_that_warms_to_its_air_and_then_by_its_own_heat_is_no_fault() -> None:
    """From 5 K under to 3.6 K over its surroundings in half a day: only the second part is heat."""
    assert named_beside_resting_bags(lambda hour: 17.0 + 0.742 * hour) == set()


def at_rest(resting: int) -> tuple[set[str], list[tuple[bool, bool]]]:
    """Eight coarse probes of which the first so many hold one value from 12 h on: who is named
    as stuck; and of the first, by frame, whether its reading was flagged and it was named."""
    plan = {f"b{number}": Probe(f"b{number}", bag=f"B{number}") for number in range(8)}
    checker, found, first = Quality(QualityParams(), plan), set(), []
    for frame in range(6 * 30):
        flags = []
        for number, probe in enumerate(plan):
            still = number < resting and frame > 6 * 12
            value_c = 22.0 + (0.0 if still else 0.5 * ((frame + number) % 2))
            flags.append(checker.check(temperature(probe, FRAME * frame, value_c)).flags)
        faults = {one.probe for one in checker.close(FRAME * (frame + 1), {})}
        first.append((Flag.STUCK in flags[0], "b0" in faults))
        found |= faults
    return found, first


def test_a_room_at_rest_makes_no_probe_stuck_and_one_that_rests_alone_is() -> None:
    assert at_rest(8)[0] == set()
    assert at_rest(1)[0] == {"b0"}


def test_readings_of_a_stuck_probe_are_flagged_from_the_frame_after_it_was_named() -> None:
    _, first = at_rest(1)
    assert any(named for _, named in first)
    assert [flagged for flagged, _ in first[1:]] == [named for _, named in first[:-1]]
