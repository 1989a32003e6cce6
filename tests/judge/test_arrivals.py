"""Bags brought in far from the room's temperature: nobody is told what is no fault and no heat."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable

import pytest

from monitor.judge.arrivals import Arrivals
from monitor.judge.room import RoomWatch
from monitor.road import Outcome, Plan, Road, RoadParams
from monitor.values import AlarmKind, Bag, Frame, Mean, Probe, Quantity, Reading, Reason
from tests.judge.room_physics import PROBES

HOUR_S, FRAME_S = 3600.0, 600.0
START_S = 1768176000.0
AIR = {f"air{shelf}": Probe(f"air{shelf}", rack="R1", shelf=shelf) for shelf in (1, 3, 5)}


def on_the_way(
    surface: Callable[[float], float], hours: float, arrivals: Arrivals | None = None
) -> list[float]:
    """The hours in which a bag in air of 22 °C was on its way."""
    arrivals = arrivals or Arrivals()
    return [
        step / 6
        for step in range(1, round(hours * 6) + 1)
        if arrivals.step(step * FRAME_S, {"B": surface(step / 6)}, {"B": 22.0}, ["B"])
    ]


@pytest.mark.parametrize("began_c", [5.0, 28.0, 35.0, 45.0])
def test_a_bag_is_on_its_way_until_it_comes_no_nearer(began_c: float) -> None:
    way_h = on_the_way(lambda hour: 23.0 + (began_c - 23.0) * math.exp(-hour / 5.0), 60)
    left_k = (began_c - 23.0) * math.exp(-way_h[-1] / 5.0)
    assert 8.0 < way_h[-1] < 26.0
    assert abs(left_k) < 1.0
    assert len(way_h) == round(way_h[-1] * 6), "once on its way, once there"


def test_a_bag_near_its_air_or_warm_by_its_own_heat_is_not_on_its_way() -> None:
    assert on_the_way(lambda hour: 24.5, 30) == []
    assert on_the_way(lambda hour: 27.0, 30)[-1] <= 3.2
    # one that was there once may grow as warm as it likes
    assert on_the_way(lambda hour: 22.5 + hour, 30) == []
    # nor does one that nears for ever, as its probe drifts
    assert on_the_way(lambda hour: 48.0 - 0.2 * hour, 60)[-1] <= 36.0


def load(
    began_c: float, count: int, hours: float, beside: int = 12, room_k: float = 0.0
) -> list[Outcome]:
    """What is made of `count` bags brought in after ten hours at `began_c`, beside others; the
    air is warmer by `room_k` while they are warm."""
    draw = random.Random(5)
    temps_c = {f"O{number:02d}": 22.0 + draw.uniform(0.6, 1.6) for number in range(beside)}
    rests_c, road, said = dict(temps_c), Road(RoadParams(), _plan(temps_c)), []
    for frame in range(round(hours * 6)):
        hour = frame / 6
        if frame == 60:
            temps_c |= {f"N{number:02d}": began_c + draw.gauss(0, 0.5) for number in range(count)}
            rests_c |= {f"N{number:02d}": 22.0 for number in range(count)}
            road.replan(_plan(temps_c))
        air_c = 22.0 + 0.3 * math.sin(2 * math.pi * hour / 0.64)
        air_c += room_k * math.exp(-(hour - 10.0) / 5.0) if frame >= 60 else 0.0
        at_s = START_S + frame * FRAME_S + 100.0
        for probe in AIR:
            _feed(road, probe, air_c, at_s, draw)
        for number, bag in enumerate(temps_c):
            lag_h = 2.0 if bag[0] == "O" else 3.0 + 3.0 * number / len(temps_c)
            temps_c[bag] += (air_c - 22.0 + rests_c[bag] - temps_c[bag]) / 6 / lag_h
            _feed(road, f"p-{bag}", 0.85 * temps_c[bag] + 0.15 * air_c, at_s, draw)
        said.append(road.close(START_S + (frame + 1) * FRAME_S))
    return said


def _plan(bags: dict[str, float]) -> Plan:
    inoculated_s = {"O": START_S - 80 * HOUR_S, "N": START_S + 10 * HOUR_S}
    return Plan(
        {
            bag: Bag(bag, f"Q{bag[0]}", "GO-12", bag[0], inoculated_s[bag[0]], 3.0, "R1", 3, None)
            for bag in bags
        },
        AIR | {f"p-{bag}": Probe(f"p-{bag}", bag, "R1", 3) for bag in bags},
    )


def _feed(road: Road, probe: str, value_c: float, at_s: float, draw: random.Random) -> None:
    value_c += draw.gauss(0, 0.06)
    road.feed(Reading(probe, Quantity.TEMPERATURE, value_c, at_s, at_s))


@pytest.mark.parametrize(
    ("began_c", "count", "beside"),
    [(35.0, 4, 12), (45.0, 12, 12), (35.0, 24, 12), (45.0, 12, 0), (5.0, 12, 12)],
)
def test_of_a_load_that_comes_to_the_room_nothing_is_said(
    began_c: float, count: int, beside: int
) -> None:
    said = load(began_c, count, 40.0, beside)
    told = {(one.kind, one.reason) for outcome in said for one in outcome.conditions}
    assert not told
    surfaces_c = [verdict[0].surface_c for verdict in said[66].verdicts.values()]
    assert None not in surfaces_c, "people still see what every probe reads"
    assert all(verdict[0].core_c is not None for verdict in said[-1].verdicts.values())


def test_a_load_that_warms_the_room_is_no_heater_and_lets_no_probe_fall() -> None:
    said = load(45.0, 24, 24.0, room_k=4.0)
    told = {(one.kind, one.reason) for outcome in said for one in outcome.conditions}
    assert told <= {(AlarmKind.ROOM, Reason.ROOM_HIGH), (AlarmKind.ROOM, Reason.DRIFT)}


def test_a_load_moves_the_room_its_own_way_only_and_only_while_it_is_fresh() -> None:
    def said(load_k: float, by_k_per_h: float) -> set[Reason]:
        room, found = RoomWatch(RoadParams().room), set()
        for step in range(1, 6 * 54):
            hour = step / 6
            means = {
                name: Mean(22.0 + by_k_per_h * max(0.0, hour - 50.0), 2, step * FRAME_S)
                for name in ("air-low", "air-top")
            }
            one = Frame(step * FRAME_S, FRAME_S, means, {}, {})
            found |= {told.reason for told in room.step(one, PROBES, {}, load_k)}
        return found - {Reason.ROOM_HIGH, Reason.ROOM_LOW, Reason.DRIFT}

    assert not said(10.0, 3.5) and not said(-10.0, -2.0)
    assert said(0.0, 3.5) and said(-10.0, 3.5) and said(0.0, -2.0) and said(10.0, -2.0)

    arrivals, load_k = Arrivals(), []
    for step in range(1, 36):
        surfaces_c = {"A": 23.0, "B": 22.0 + 13.0 * math.exp(-step / 30.0)}
        arrivals.step(step * FRAME_S, surfaces_c, dict.fromkeys("AB", 22.0), "AB")
        load_k.append(arrivals.load_k(step * FRAME_S))
    assert min(load_k[:19]) > 5.0 and load_k[-1] == 0.0


def test_few_bags_move_no_room_and_what_is_kept_goes_on_exactly() -> None:
    whole, resumed = Arrivals(), Arrivals()
    bags = [f"B{number}" for number in range(12)]
    for step in range(1, 150):
        if step % 17 == 0:
            kept = json.loads(json.dumps(resumed.state()))
            resumed = Arrivals()
            resumed.restore(kept)
        surfaces_c = dict.fromkeys(bags, 23.0) | {"B3": 22.0 + 9.0 * math.exp(-step / 24.0)}
        frame = (step * FRAME_S, surfaces_c, dict.fromkeys(bags, 22.0), bags)
        assert resumed.step(*frame) == whole.step(*frame)
        assert whole.load_k(step * FRAME_S) == resumed.load_k(step * FRAME_S) == 0.0
    assert whole.step(150 * FRAME_S, {}, {}, []) == frozenset()
    assert whole.state() == {"there": [], "ways": {}}
