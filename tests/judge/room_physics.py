"""A small invented room for scenarios: two nodes (air; bags and walls), heater, cooler, door.

Its equations are a heat balance stepped by the minute; the watch under test knows none of
them. Numbers: 60 m³, 40 W/K to the outside, 400 bags of 2.2 kg (common practice, no source).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from monitor.values import Frame, Mean, Probe

MINUTE_S = 60.0
HOUR_S = 3600.0
#: 2026-01-12T00:00:00Z, a Monday.
START_S = 1768176000.0

AIR_J_PER_K = 220e3
BAGS_J_PER_K = 3.0e6
AIR_TO_BAGS_W_PER_K = 325.0
OUTSIDE_W_PER_K = 40.0
SHELVES = {"air-low": (1, -0.8), "air-mid": (3, 0.0), "air-top": (5, 1.0)}
BAGS = tuple(f"Q{number:02d}" for number in range(1, 13))

PROBES: dict[str, Probe] = {
    **{name: Probe(name, rack="R1", shelf=shelf) for name, (shelf, _) in SHELVES.items()},
    **{f"p-{bag}": Probe(f"p-{bag}", bag, "R1", 1 + 2 * (i % 3)) for i, bag in enumerate(BAGS)},
}

Hours = tuple[float, float]


@dataclass(frozen=True)
class Scenario:
    """A room and what happens in it; spans are hours since the start, None is never."""

    hours: float = 96.0
    set_c: float = 22.0
    set_back_k: float = 0.0
    outside_c: float = 2.0
    swing_k: float = 0.0
    bag_heat_w: float = 200.0
    heater_w: float = 2500.0
    cooler_w: float = 0.0
    heater_stuck: Hours | None = None
    cooler_stuck: Hours | None = None
    heater_dead: Hours | None = None
    cooler_dead: Hours | None = None
    door: Hours | None = None
    warm_load: Hours | None = None
    silent: Hours | None = None
    raised: Hours | None = None
    raised_k: float = 0.0
    jumped: Hours | None = None
    air_probes: bool = True
    bag_probes: bool = True
    every_frames: int = 1
    frame_s: float = 600.0
    start_hour: float = 0.0


def _in(span: Hours | None, hour: float) -> bool:
    return span is not None and span[0] <= hour < span[1]


@dataclass
class _Room:
    air_c: float
    bags_c: float
    heats: bool = False
    cools: bool = False


def _minute(scenario: Scenario, room: _Room, hour: float) -> None:
    """One minute of thermostat and heat balance."""
    clock_h = (hour + scenario.start_hour) % 24
    set_c = scenario.set_c - (scenario.set_back_k if clock_h >= 22 or clock_h < 6 else 0.0)
    set_c += scenario.raised_k if _in(scenario.raised, hour) else 0.0
    room.heats = room.air_c < set_c - 0.5 or (room.heats and room.air_c < set_c + 0.5)
    room.cools = room.air_c > set_c + 1.8 or (room.cools and room.air_c > set_c + 1.0)
    heats = room.heats and not _in(scenario.heater_dead, hour)
    cools = room.cools and not _in(scenario.cooler_dead, hour)
    heat_w = scenario.heater_w * (heats or _in(scenario.heater_stuck, hour))
    heat_w -= scenario.cooler_w * (cools or _in(scenario.cooler_stuck, hour))
    heat_w += 420.0 if _in(scenario.warm_load, hour) else 0.0
    outside_c = scenario.outside_c + scenario.swing_k * (1 - abs(clock_h - 15) / 6)
    loss = OUTSIDE_W_PER_K + (90.0 if _in(scenario.door, hour) else 0.0)
    to_bags_w = AIR_TO_BAGS_W_PER_K * (room.air_c - room.bags_c)
    air_w = heat_w - to_bags_w - loss * (room.air_c - outside_c)
    room.air_c += air_w * MINUTE_S / AIR_J_PER_K
    room.bags_c += (to_bags_w + scenario.bag_heat_w) * MINUTE_S / BAGS_J_PER_K


def frames(scenario: Scenario, seed: int = 1) -> Iterator[tuple[float, Frame]]:
    """(hours since the start, frame) of a scenario's whole length."""
    noise = random.Random(seed)
    set_c = scenario.set_c - (scenario.set_back_k if scenario.start_hour < 6 else 0.0)
    room = _Room(set_c, set_c + scenario.bag_heat_w / AIR_TO_BAGS_W_PER_K)
    own_k = {bag: noise.gauss(0.0, 0.4) for bag in BAGS}
    minutes = round(scenario.frame_s / MINUTE_S)
    for number in range(1, round(scenario.hours * HOUR_S / scenario.frame_s) + 1):
        air_sum = 0.0
        for minute in range(minutes):
            hour = ((number - 1) * minutes + minute) / 60
            _minute(scenario, room, hour)
            air_sum += room.air_c
        hour = number * minutes / 60
        end_s = START_S + number * scenario.frame_s
        spoke = number % scenario.every_frames == 0 and not _in(scenario.silent, hour - 1e-6)
        frame = Frame(end_s, scenario.frame_s, {}, {}, {})
        if spoke:
            air_c = air_sum / minutes
            frame = replace(
                frame,
                air_c=_air(scenario, hour, air_c, end_s, noise.gauss),
                surface_c=_bags(scenario, air_c, room.bags_c, own_k, end_s, noise.gauss),
            )
        yield hour, frame


def _air(
    scenario: Scenario,
    hour: float,
    air_c: float,
    end_s: float,
    gauss: Callable[[float, float], float],
) -> dict[str, Mean]:
    if not scenario.air_probes:
        return {}
    cold_k = (air_c - scenario.outside_c) * _in(scenario.door, hour)
    return {
        name: Mean(
            air_c
            + above_k
            - cold_k * {1: 0.25, 3: 0.1, 5: 0.0}[shelf]
            + (5.0 if name == "air-top" and _in(scenario.jumped, hour) else 0.0)
            + gauss(0.0, 0.1),
            2,
            end_s - 100,
        )
        for name, (shelf, above_k) in SHELVES.items()
    }


def _bags(
    scenario: Scenario,
    air_c: float,
    bags_c: float,
    own_k: dict[str, float],
    end_s: float,
    gauss: Callable[[float, float], float],
) -> dict[str, Mean]:
    """Surfaces: a taped probe leaks 15 % of the air, at a resolution of a sixteenth."""
    if not scenario.bag_probes:
        return {}
    return {
        bag: Mean(
            round((bags_c + 0.15 * (air_c - bags_c) + own + gauss(0.0, 0.1)) * 16) / 16,
            2,
            end_s - 100,
        )
        for bag, own in own_k.items()
    }
