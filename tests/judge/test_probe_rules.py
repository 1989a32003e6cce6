"""When an unchanged value is a stuck probe: what is asked of its run beside those of its kind."""

from __future__ import annotations

import pytest

from monitor.judge.probe_rules import Company, FaultParams, is_stuck
from monitor.judge.tracks import Track

HOUR_S, STEP_K, EVERY_S = 3600.0, 0.5, 300.0
LONGEST_S = 2.0 * HOUR_S


def resting(times: float, moved_steps: float) -> Track:
    """A probe of 0.5 °C that gives one value for `times` the longest run of its kind, while its
    lagged air went so many steps of it."""
    held_s = times * LONGEST_S
    return Track(
        held=21.0,
        held_since_s=0.0,
        held_until_s=held_s,
        held_count=round(held_s / EVERY_S),
        lagged_since_s=0.0,
        lagged_low_c=20.5,
        lagged_high_c=20.5 + moved_steps * STEP_K,
        smallest_step=STEP_K,
    )


@pytest.mark.parametrize(
    ("times", "moved_steps", "readings", "stuck"),
    [
        (2.7, 0.0, 1000, True),  # at rest
        (2.5, 0.0, 1000, False),
        (2.7, 0.0, 300, False),  # the longest of a few runs says little
        (3.1, 0.0, 300, True),
        (1.9, 0.8, 1000, True),  # its air moved
        (1.7, 0.8, 1000, False),
        (1.9, 0.8, 300, False),
        (1.2, 3.0, 1000, False),  # however far the air went
        (1.4, 3.0, 1000, True),
    ],
)
def test_the_further_the_air_went_and_the_better_its_kind_is_known_the_less_is_asked(
    times: float, moved_steps: float, readings: int, stuck: bool
) -> None:
    company = Company(change_share=0.5, longest_s=LONGEST_S, count=45, readings=readings)
    assert is_stuck(resting(times, moved_steps), company, False, FaultParams()) is stuck
