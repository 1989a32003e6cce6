"""A probe that drifts into the impossible spoiled the day before; a loose wire did not."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from monitor.judge.probe_faults import ProbeFault, misled
from monitor.judge.quality import Quality, QualityParams
from monitor.values import Probe, Quantity, Reading, Reason

HOUR_S, FRAME_S, DAY_S = 3600.0, 600.0, 86400.0


def faults_of(
    course: Callable[[float], float], hours: float, bags: int = 6
) -> tuple[ProbeFault, ...]:
    """Faults at the end of a room whose first bag's probe reads `course` (°C by hour) while the
    others rest at 22 °C; there is no air probe."""
    plan = {f"b{number}": Probe(f"b{number}", bag=f"B{number}") for number in range(bags)}
    checker, faults = Quality(QualityParams(), plan), ()
    for frame in range(round(hours * HOUR_S / FRAME_S)):
        at_s, flicker_k = FRAME_S * frame, 0.0625 * (frame % 2)
        for number, probe in enumerate(plan):
            value_c = 22.0 + 0.0625 * number if number else course(at_s / HOUR_S)
            reading = Reading(probe, Quantity.TEMPERATURE, value_c + flicker_k, at_s, at_s)
            checker.check(reading)
        faults = checker.close(at_s + FRAME_S, {})
    return faults


def loose(value_c: float) -> Callable[[float], float]:
    return lambda hour: 22.5 if hour < 20 else value_c


@pytest.mark.parametrize("value_c", [-127.0, 85.0, 60.0])
def test_before_a_wire_came_loose_the_probe_told_the_truth(value_c: float) -> None:
    """All it told since was flagged, so nothing from before is taken back with it."""
    (fault,) = faults_of(loose(value_c), 22.0)
    assert (fault.probe, fault.drifted) == ("b0", False)
    assert misled([fault], frozenset({"B0"})) == {"B0": fault.since_s}
    assert fault.since_s == 20 * HOUR_S


@pytest.mark.parametrize("bags", [6, 2], ids=["among others", "with nothing to be held against"])
def test_the_day_before_a_probe_drifted_into_the_impossible_is_taken_back(bags: int) -> None:
    """As a failing battery does: 2 K an hour from 22.5 to over 50 °C."""
    (fault,) = faults_of(lambda hour: 22.5 + 2.0 * max(0.0, hour - 20.0), 36.0, bags)
    assert (fault.reason, fault.drifted) == (Reason.PROBE_IMPOSSIBLE, True)
    assert misled([fault], frozenset({"B0"})) == {"B0": fault.since_s - DAY_S}


def test_a_probe_that_never_told_a_sound_value_spoiled_nothing() -> None:
    (fault,) = faults_of(lambda hour: -127.0, 3.0, bags=2)
    assert (fault.reason, fault.drifted) == (Reason.PROBE_IMPOSSIBLE, False)


def test_a_bag_with_a_sound_second_probe_is_not_misled() -> None:
    (fault,) = faults_of(loose(85.0), 22.0)
    assert misled([fault], frozenset()) == {}
