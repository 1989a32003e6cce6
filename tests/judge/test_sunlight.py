"""Sun on some bags of a rack for hours of each day: no fault of a probe, no heat of a bag."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable

import pytest

from monitor.judge.quality import Quality, QualityParams
from monitor.judge.sunlight import Sunlight
from monitor.road import Plan, Road, RoadParams
from monitor.values import Bag, Probe, Quantity, Reading

HOUR_S, FRAME_S = 3600.0, 600.0
START_S = 1768176000.0
BAGS = [f"B{number:02d}" for number in range(12)]
AIR = {f"air{shelf}": Probe(f"air{shelf}", rack="R1", shelf=shelf) for shelf in (1, 3, 5)}
Course = Callable[[float], float]


def lit_h(surface: Course, hours: float, air: Course = lambda hour: 22.0) -> list[float]:
    """The hours in which the first of six bags was taken to stand in the sun."""
    sunlight, found = Sunlight(), []
    for step in range(1, round(hours * 6) + 1):
        hour = step / 6
        surfaces_c = dict.fromkeys(BAGS[1:6], 23.0) | {BAGS[0]: surface(hour)}
        if BAGS[0] in sunlight.step(step * FRAME_S, surfaces_c, dict.fromkeys(BAGS, air(hour))):
            found.append(hour)
    return found


def sun_k(hour: float, peak_k: float, long_h: float) -> float:
    """Sun from eleven o'clock on."""
    since_h = hour % 24 - 11.0
    return max(0.0, peak_k * min(1.0, since_h / 0.5, (long_h - since_h) / 0.5))


def test_a_bag_is_in_the_sun_from_its_quick_rise_until_it_is_back() -> None:
    found = lit_h(lambda hour: 23.0 + sun_k(hour, 4.0, 3.0), 24)
    assert 11.0 < found[0] < 11.5 and 13.6 < found[-1] < 14.1
    assert len(found) == round((found[-1] - found[0]) * 6) + 1


def test_what_stays_or_comes_slowly_or_is_as_cold_as_the_air_is_no_sun() -> None:
    stays = lit_h(lambda hour: 23.0 + min(4.0, max(0.0, 4.0 * (hour - 10.0))), 40)
    assert stays[-1] - stays[0] <= 5.0
    assert lit_h(lambda hour: 23.0 + max(0.0, 0.6 * (hour - 10.0)), 24) == []
    # a probe that falls off a bag colder than its air
    assert lit_h(lambda hour: 20.0 if hour < 10 else 22.2, 24) == []


def test_a_silent_bag_is_soon_forgotten_and_what_is_kept_goes_on_exactly() -> None:
    whole, resumed = Sunlight(), Sunlight()
    for step in range(1, 150):
        if step % 7 == 0:
            kept = json.loads(json.dumps(resumed.state()))
            resumed = Sunlight()
            resumed.restore(kept)
        surfaces_c = dict.fromkeys(BAGS[1:], 23.0) | {BAGS[0]: 23.0 + sun_k(step / 6, 5.0, 2.0)}
        frame = (step * FRAME_S, surfaces_c, dict.fromkeys(BAGS, 22.0))
        assert resumed.step(*frame) == whole.step(*frame)
    assert whole.step(170 * FRAME_S, {}, {}) == frozenset()
    assert whole.state() == {}


@pytest.mark.parametrize(("peak_k", "long_h"), [(3.0, 1.0), (3.0, 3.0), (5.0, 3.0)])
def test_bags_in_the_sun_each_day_are_not_called_nor_their_probes_named(
    peak_k: float, long_h: float
) -> None:
    draw = random.Random(6)
    warmth_k = {bag: draw.uniform(0.6, 1.6) for bag in BAGS}
    places = {f"p-{bag}": Probe(f"p-{bag}", bag, "R1", 3) for bag in BAGS}
    bags = {
        bag: Bag(bag, "Q", "GO-12", "L", START_S - 80 * HOUR_S, 2.3, "R1", 3, None) for bag in BAGS
    }
    road, told = Road(RoadParams(), Plan(bags, AIR | places)), set()
    temps_c = {bag: 22.0 + one_k for bag, one_k in warmth_k.items()}
    for frame in range(60 * 6):
        hour = frame / 6
        air_c = 22.0 - (1.0 if hour % 24 < 7 else 0.0) + 0.4 * math.sin(2 * math.pi * hour / 0.64)
        values_c = dict.fromkeys(AIR, air_c)
        for number, bag in enumerate(BAGS):
            temps_c[bag] += (air_c + warmth_k[bag] - temps_c[bag]) / 6 / 2.2
            lit_k = sun_k(hour, peak_k, long_h) if number < 4 else 0.0
            values_c[f"p-{bag}"] = 0.85 * temps_c[bag] + 0.15 * air_c + lit_k
        at_s = START_S + frame * FRAME_S + 100.0
        for probe, value_c in values_c.items():
            read_c = value_c + draw.gauss(0, 0.06)
            road.feed(Reading(probe, Quantity.TEMPERATURE, read_c, at_s, at_s))
        outcome = road.close(START_S + (frame + 1) * FRAME_S)
        told |= {(one.kind, one.reason) for one in outcome.conditions}
    assert not told


def test_how_a_probe_swung_into_the_sun_is_not_held_against_it() -> None:
    quality = Quality(QualityParams(), {f"p-{bag}": Probe(f"p-{bag}", bag) for bag in BAGS})
    air_c = dict.fromkeys((f"p-{bag}" for bag in BAGS), 22.0)
    for frame in range(1, 40):
        for bag in BAGS:
            at_s, read_c = frame * FRAME_S - 100.0, 23.0 + 0.1 * (frame % 2)
            quality.check(Reading(f"p-{bag}", Quantity.TEMPERATURE, read_c, at_s, at_s))
        quality.close(frame * FRAME_S, air_c, aside=BAGS[:1] if frame == 39 else ())
    swings = quality.state()["swings"]
    assert not any(swings[f"p-{BAGS[0]}"]) and any(swings[f"p-{BAGS[1]}"])
