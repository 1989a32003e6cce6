"""Probes that speak on change are silent only by their own pace."""

from __future__ import annotations

import json
import random

import pytest

from monitor.judge.pace import Pace
from monitor.judge.quality import Quality, QualityParams
from monitor.road import Road, RoadParams
from monitor.values import AlarmKind, Reason
from tests.judge.paced_room import (
    FRAME_S,
    HOUR_S,
    PLAN,
    PROBES,
    judged,
    named,
    on_change,
    reading,
)


@pytest.mark.parametrize("heartbeat_h", [1.0, 4.0])
@pytest.mark.parametrize("step_k", [0.1, 0.25, 0.5])
def test_probes_that_speak_on_change_are_neither_silent_nor_stuck(
    step_k: float, heartbeat_h: float
) -> None:
    """From the second day on: until then nobody knows that they rest."""
    found = [
        (hour, condition.subject, condition.reason)
        for hour, outcome in judged(on_change(96.0, step_k, heartbeat_h))
        for condition in outcome.conditions
        if hour > 24.0 and condition.kind is AlarmKind.PROBE
    ]
    assert found == []


def test_one_that_speaks_no_more_is_named_within_four_of_its_heartbeats() -> None:
    silent = named(on_change(60.0, 0.25, 1.0, mute=["b3"]), Reason.PROBE_SILENT)
    assert {probe for _, probe in silent} == {"b3"}
    assert 49.0 < silent[0][0] <= 52.0 + FRAME_S / HOUR_S


def test_a_bag_unheard_for_six_hours_is_said_at_any_pace() -> None:
    """One that spoke every four hours, though three of its rests would be twelve and four usual
    gaps sixteen."""
    checker = Quality(QualityParams(), {"b0": PROBES["b0"]})
    for frame in range(48 * 6):
        at_s = frame * FRAME_S
        if frame % 24 == 0 or (frame % 24 == 1 and frame < 144):
            checker.check(reading("b0", at_s, 22.0 + 0.1 * (frame % 7)))
        assert not checker.close(at_s + FRAME_S, {}) or frame < 36
    last_s, end_s = 44 * HOUR_S, 48 * HOUR_S
    while not checker.close(end_s := end_s + FRAME_S, {}):
        assert end_s - last_s <= 6 * HOUR_S
    assert end_s - last_s == 6 * HOUR_S + FRAME_S


def test_a_steady_probe_with_outages_of_hours_is_named_as_fast_as_ever() -> None:
    """Every tenth message lost and four hours a day unheard: forty minutes are enough."""
    draw, checker = random.Random(5), Quality(QualityParams(), {"b0": PROBES["b0"]})
    for frame in range(96 * 6):
        at_s, hour = frame * FRAME_S, frame / 6 % 24
        if not 10.0 <= hour < 14.0 and draw.random() > 0.1:
            last_s = at_s
            checker.check(reading("b0", at_s, 22.0 + draw.gauss(0.0, 0.1)))
        checker.close(at_s + FRAME_S, {})
    end_s = 96 * HOUR_S
    while not checker.close(end_s := end_s + FRAME_S, {}):
        assert end_s - last_s <= 4 * FRAME_S
    assert end_s - last_s <= 5 * FRAME_S


def test_a_gap_in_which_nobody_listened_is_none_of_the_probes() -> None:
    checker = Quality(QualityParams(), {"b0": PROBES["b0"]})
    for frame in range(12):
        checker.check(reading("b0", frame * FRAME_S, 22.0 + 0.1 * (frame % 2)))
        checker.close((frame + 1) * FRAME_S, {})
    later_s = 30 * HOUR_S
    checker.was_dark(later_s)
    checker.check(reading("b0", later_s, 22.0))
    checker.close(later_s + FRAME_S, {})
    (track,) = checker._tracks.values()
    assert track.pace.longest_lately_s == FRAME_S


def test_a_pace_is_ragged_by_gaps_that_come_again_and_forgets_them() -> None:
    pace = Pace()
    for number in range(200):
        pace.note(number * 600.0, 600.0)
    pace.note(121e3, 2400.0)
    assert not pace.ragged  # one such gap happens
    pace.note(124e3, 2400.0)
    assert pace.ragged
    for number in range(200):
        pace.note(130e3 + number * 600.0, 600.0)
    assert not pace.ragged and pace.longest_lately_s == 2400.0
    pace.note(9 * 86400.0, 700.0)
    assert pace.longest_lately_s == 700.0


def test_a_road_taken_up_in_the_middle_knows_the_paces() -> None:
    road, again = Road(RoadParams(), PLAN), Road(RoadParams(), PLAN)
    frames = list(on_change(30.0, 0.25, 4.0))
    for number, readings in enumerate(frames, 1):
        for one in (road, again):
            for said in readings:
                one.feed(said)
            one.close(number * FRAME_S)
        if number == 100:
            again = Road(RoadParams(), PLAN)
            again.restore(json.loads(json.dumps(road.state())))
    assert road.state() == again.state()
