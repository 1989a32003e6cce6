"""The clock was ahead and is set back: people are told within minutes, and judging goes on.

A real watch on a turned clock; what it closed in the wrong future is set aside.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from tests.clocks import TurnedClock
from tests.test_clock_faults import FRAME_S, HOUR_S, START_S, Watch, folder

__all__ = ["folder"]

DAY_S = 86400.0


@pytest.mark.parametrize("ahead_s", [30 * DAY_S, 6 * HOUR_S], ids=["30 days", "6 hours"])
@pytest.mark.parametrize("minutes", [0, 3], ids=["no frame", "three frames"])
def test_judging_goes_on_at_the_right_time_within_minutes(
    folder: Path, ahead_s: float, minutes: int
) -> None:
    """Three minutes in the wrong future must not cost thirty days of watching."""
    clock = TurnedClock(START_S)
    watch = Watch(folder, clock)
    watch.minutes(30)
    clock.step_s(ahead_s)
    watch.live.turn()
    watch.minutes(minutes)
    clock.step_s(-ahead_s)
    back_s = clock.wall_s()
    watch.minutes(20)
    watch.end()
    closes = watch.closes()
    assert closes == sorted(set(closes))
    assert max(closes) <= clock.wall_s()
    after = [end_s for end_s in closes if end_s > back_s]
    assert after and after[0] <= back_s + 7 * FRAME_S
    assert {b - a for a, b in pairwise(after)} == {FRAME_S}
