"""Whether a probe follows its bag or by now the air: rooms stepped by hand."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence

from monitor.judge.fallen import FallenParams, Follows

HOUR_S, FRAME_S = 3600.0, 600.0
BAGS = 8
Placed = Callable[[float], bool]


def room(
    hours: float,
    lag_s: float = 9000.0,
    on_bag: Placed = lambda hour: True,
    step_k: Callable[[float], float] = lambda hour: 0.0,
    seed: int = 4,
) -> list[Sequence[float | None]]:
    """Since when each probe is off its bag [s], frame by frame, of bags that follow a
    thermostat's air with `lag_s`; the first one's probe is on its bag where `on_bag(hour)`, and
    reads `step_k(hour)` more than it should."""
    draw = random.Random(seed)
    follows, names = Follows(FallenParams()), [f"b{number}" for number in range(BAGS)]
    heat_k = [draw.uniform(0.6, 2.0) for _ in names]
    bags_c = [21.0 + warmth_k for warmth_k in heat_k]
    said = []
    for frame in range(round(hours * HOUR_S / FRAME_S)):
        hour = frame * FRAME_S / HOUR_S
        night_k = -2.0 if hour % 24 < 7 else 0.0
        air_c = 21.0 + night_k + 0.7 * math.sin(2 * math.pi * hour / 0.64) + draw.gauss(0, 0.05)
        values_c = []
        for number, warmth_k in enumerate(heat_k):
            for _ in range(12):
                bags_c[number] += (air_c + warmth_k - bags_c[number]) * 50.0 / lag_s
            value_c = 0.85 * bags_c[number] + 0.15 * air_c + draw.gauss(0, 0.06)
            off = number == 0 and not on_bag(hour)
            value_c += step_k(hour) if number == 0 else 0.0
            values_c.append(air_c + draw.gauss(0, 0.05) if off else value_c)
        end_s = (frame + 1) * FRAME_S
        said.append(follows.step(end_s, names, values_c, [air_c] * BAGS, [True] * BAGS)[1])
    return said


def named_h(said: list[Sequence[float | None]], probe: int = 0) -> list[float]:
    """The hours in which a probe was said to be off its bag."""
    return [
        (frame + 1) * FRAME_S / HOUR_S
        for frame, fell_s in enumerate(said)
        if fell_s[probe] is not None
    ]


def test_a_probe_taped_on_again_is_believed_again_within_hours() -> None:
    said = room(84.0, on_bag=lambda hour: not 30 <= hour < 42)
    named = named_h(said)
    assert 30 < named[0] < 36
    assert 42 < named[-1] < 60
    assert len(named) == round((named[-1] - named[0]) * 6) + 1, "once off, once on again"
    assert not any(named_h(said, probe) for probe in range(1, BAGS))


def test_bags_that_all_follow_their_air_faster_than_thought_are_a_room_and_no_fall() -> None:
    """Small bags in a wind; what surprises of all probes have in common is taken off."""
    said = room(72.0, lag_s=2400.0)
    assert not any(named_h(said, probe) for probe in range(BAGS))


def test_a_probe_that_jumps_far_from_bag_and_air_is_not_said_to_follow_the_air() -> None:
    """It fits its bag no more, yet 5 K over the air is no probe that hangs in it."""
    said = room(60.0, step_k=lambda hour: 5.0 if hour >= 30 else 0.0)
    assert not named_h(said)


def test_a_probe_is_not_weighed_in_its_first_hours() -> None:
    """A bag brought in cold comes to its air as a probe in the air would."""
    young_h = FallenParams().least_frames * FRAME_S / HOUR_S
    said = room(young_h, on_bag=lambda hour: hour < 2.0)
    assert not any(named_h(said, probe) for probe in range(BAGS))
