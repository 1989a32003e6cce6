"""A room whose probes speak on change, or all at once, on the whole road."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator

from monitor.road import Outcome, Plan, Road, RoadParams
from monitor.values import Bag, Probe, Quantity, Reading, Reason

HOUR_S, FRAME_S, LOOK_S = 3600.0, 600.0, 300.0
BAGS = 12
PROBES = {f"b{i}": Probe(f"b{i}", bag=f"B{i}", shelf=3) for i in range(BAGS)}
PROBES |= {f"air{shelf}": Probe(f"air{shelf}", shelf=shelf) for shelf in (1, 3, 5)}
PLAN = Plan(
    {
        f"B{i}": Bag(f"B{i}", "batch", "strain", "lot", 0.0, 2.4, "R1", 3, i, probe=f"b{i}")
        for i in range(BAGS)
    },
    PROBES,
)
Spoken = Iterator[list[Reading]]


def reading(probe: str, at_s: float, value: float) -> Reading:
    return Reading(probe, Quantity.TEMPERATURE, value, at_s, at_s)


def true_c(probe: str, hour: float, noise_k: float) -> float:
    """Bags follow a day of 2 K late and each by its own; the air ticks by a thermostat."""
    if probe.startswith("air"):
        ticks_k = 0.8 * math.sin(2 * math.pi * hour / 0.64 + int(probe[3:]))
        return 21.0 + math.sin(2 * math.pi * hour / 24) + ticks_k + noise_k
    late_h = 3.0 + 0.2 * int(probe[1:])
    return 22.5 + 0.8 * math.sin(2 * math.pi * (hour - late_h) / 24) + noise_k


def on_change(hours: float, step_k: float, heartbeat_h: float, mute: Iterable[str] = ()) -> Spoken:
    """Frame by frame what is said of a look every five minutes: a move of `step_k` or more, or
    anything after `heartbeat_h`; of `mute` nothing more from the third day on."""
    draw, said = random.Random(2), dict[str, tuple[float, float]]()
    for frame in range(round(hours * HOUR_S / FRAME_S)):
        spoken = []
        for at_s in (frame * FRAME_S, frame * FRAME_S + LOOK_S):
            for probe in PROBES:
                value = round(true_c(probe, at_s / HOUR_S, draw.gauss(0.0, 0.02)), 2)
                before_s, before_c = said.get(probe, (-math.inf, 0.0))
                due = at_s - before_s >= heartbeat_h * HOUR_S or abs(value - before_c) >= step_k
                if due and not (probe in mute and at_s >= 48 * HOUR_S):
                    said[probe] = at_s, value
                    spoken.append(reading(probe, at_s, value))
        yield spoken


def at_once(hours: float, every_s: float) -> Spoken:
    """All of them at the same moment, once in `every_s`."""
    for frame in range(round(hours * HOUR_S / FRAME_S)):
        at_s = frame * FRAME_S
        due = at_s % every_s == 0.0
        yield [reading(one, at_s, true_c(one, at_s / HOUR_S, 0.0)) for one in PROBES if due]


def judged(spoken: Spoken) -> Iterator[tuple[float, Outcome]]:
    """(hour, outcome) of every frame on the whole road."""
    road = Road(RoadParams(), PLAN)
    for number, readings in enumerate(spoken, 1):
        for one in readings:
            road.feed(one)
        yield number * FRAME_S / HOUR_S, road.close(number * FRAME_S)


def named(spoken: Spoken, reason: Reason) -> list[tuple[float, str]]:
    """(hour, subject) of every frame and each thing the road finds for this reason."""
    return [
        (hour, condition.subject)
        for hour, outcome in judged(spoken)
        for condition in outcome.conditions
        if condition.reason is reason
    ]
