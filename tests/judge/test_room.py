"""The room watch against scenarios of an invented room, and against practice rooms."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from monitor.judge.frames import Frames
from monitor.judge.room import RoomParams, RoomWatch
from monitor.sources.folder import iter_readings, read_folder
from monitor.values import AlarmKind, Condition, Flagged, Frame, Reason, Urgency
from tests.judge.room_physics import HOUR_S, PROBES, START_S, Scenario, frames

SHARED = Path(os.environ.get("BAGWATT_SHARED", Path(__file__).parents[3] / "shared"))

Said = list[tuple[float, Condition | None]]


def watch(scenario: Scenario, params: RoomParams | None = None) -> Said:
    """(hour, condition) whenever what is said of the room changes its reason."""
    room = RoomWatch(params or RoomParams())
    said: Said = []
    for hour, frame in frames(scenario):
        found = room.step(frame, PROBES, {})
        assert len(found) <= 1
        condition = found[0] if found else None
        before = said[-1][1] if said else None
        if (condition and condition.reason) != (before and before.reason):
            said.append((hour, condition))
    return said


def reasons(said: Said) -> list[Reason | None]:
    return [condition and condition.reason for _, condition in said]


WINTER = Scenario(outside_c=2.0)
SUMMER = Scenario(outside_c=30.0, set_c=23.0, bag_heat_w=650.0, cooler_w=2500.0)

# name, scenario, reason, hour of onset, hours within which it must be said
EVENTS = [
    (
        "heater sticks at 02:00",
        replace(WINTER, heater_stuck=(74, 80)),
        Reason.HEATER_STUCK,
        74,
        1.5,
    ),
    (
        "heater sticks at night in a room with a set-back",
        replace(WINTER, set_back_k=3.0, heater_stuck=(74, 80)),
        Reason.HEATER_STUCK,
        74,
        2.0,
    ),
    (
        "heater sticks and only bags speak",
        replace(WINTER, air_probes=False, heater_stuck=(74, 77)),
        Reason.HEATER_STUCK,
        74,
        3.0,
    ),
    (
        "heater sticks in a room of air probes only",
        replace(WINTER, bag_probes=False, heater_stuck=(74, 80)),
        Reason.HEATER_STUCK,
        74,
        1.5,
    ),
    (
        "cooler sticks",
        replace(SUMMER, heater_w=0.0, cooler_w=2500.0, cooler_stuck=(74, 80)),
        Reason.COOLER_STUCK,
        74,
        1.5,
    ),
    ("cooling dies in July", replace(SUMMER, cooler_dead=(61, 72)), Reason.NO_COOLING, 61, 2.5),
    ("heating dies in January", replace(WINTER, heater_dead=(61, 72)), Reason.NO_HEATING, 61, 3.0),
    ("door is left open in February", replace(WINTER, door=(66, 78)), Reason.DOOR, 66, 1.2),
    ("power is cut for 3 h", replace(WINTER, silent=(61, 64)), Reason.POWER_CUT, 61, 0.75),
]


@pytest.mark.parametrize(
    ("scenario", "reason", "onset_h", "within_h"),
    [event[1:] for event in EVENTS],
    ids=[event[0] for event in EVENTS],
)
def test_a_room_event_is_said_once_and_in_time(
    scenario: Scenario, reason: Reason, onset_h: float, within_h: float
) -> None:
    said = watch(scenario)
    assert reason in reasons(said), said
    hour, condition = said[0]
    assert onset_h < hour <= onset_h + within_h
    assert condition is not None
    assert (condition.kind, condition.subject) == (AlarmKind.ROOM, "room")
    since_s = condition.facts.since_s
    assert since_s is not None
    assert abs(since_s - START_S - onset_h * HOUR_S) <= within_h * HOUR_S
    assert reasons(said).count(None) <= 1
    assert said[-1][1] is None, "it clears once the room is well"


QUIET = {
    "a thermostat at work for a week": replace(WINTER, hours=168),
    "set-back mornings for a week": replace(WINTER, hours=168, set_back_k=3.0),
    "a first morning after a set-back nobody told of": replace(
        WINTER, hours=30, start_hour=3.0, set_back_k=3.0
    ),
    "a first morning after a set-back of 5 K": replace(
        WINTER, hours=60, start_hour=3.0, set_back_k=5.0
    ),
    "a warm load of 50 bags for 3 h": replace(WINTER, hours=80, warm_load=(58.5, 61.5)),
    "a blip of 10 min": replace(WINTER, hours=72, silent=(59.0, 59.16)),
    "a door for 10 min": replace(WINTER, hours=72, door=(59.0, 59.16)),
    "the setting raised by 1 K": replace(WINTER, hours=120, raised=(58, 121), raised_k=1.0),
    "one air probe that jumps": replace(WINTER, hours=72, jumped=(58, 64)),
    "probes that speak twice an hour": replace(WINTER, hours=72, every_frames=3),
    "a warm day outside": replace(WINTER, hours=96, swing_k=8.0),
    "bags alone, no air probe": replace(WINTER, hours=120, air_probes=False),
}


@pytest.mark.parametrize("scenario", QUIET.values(), ids=QUIET.keys())
def test_the_room_is_quiet_when_nothing_is_wrong(scenario: Scenario) -> None:
    assert watch(scenario) == []


@pytest.mark.parametrize("frame_s", [60.0, 300.0, 1800.0])
def test_a_stuck_heater_is_found_whatever_the_frame_is_long(frame_s: float) -> None:
    said = watch(replace(WINTER, hours=80, frame_s=frame_s, heater_stuck=(74, 81)))
    assert reasons(said)[0] is Reason.HEATER_STUCK
    assert 74 < said[0][0] <= 76


def test_a_stuck_heater_in_the_first_night_is_found_before_the_room_is_known() -> None:
    said = watch(replace(WINTER, hours=12, heater_w=4000.0, heater_stuck=(5, 12)))
    assert reasons(said)[0] in (Reason.HEATER_STUCK, Reason.ROOM_HIGH)
    assert 5 < said[0][0] <= 7


def test_a_room_outside_its_band_is_said_after_the_hold() -> None:
    params = RoomParams(band_low_c=10.0, band_high_c=21.0, band_hold_s=7200.0)
    said = watch(replace(WINTER, hours=6), params)
    assert reasons(said) == [Reason.ROOM_HIGH]
    hour, condition = said[0]
    assert 2.0 <= hour <= 2.5
    assert condition is not None
    assert (condition.facts.low_c, condition.facts.high_c) == (10.0, 21.0)
    assert condition.urgency is Urgency.NOW


def test_a_room_below_its_band_can_wait_for_the_next_walk() -> None:
    said = watch(replace(WINTER, hours=6), RoomParams(band_low_c=24.0))
    assert reasons(said) == [Reason.ROOM_LOW]
    assert said[0][1] is not None
    assert said[0][1].urgency is Urgency.TODAY


def test_a_setting_raised_by_four_kelvin_becomes_the_room_s_habit_within_days() -> None:
    raised = replace(WINTER, hours=140, raised=(58, 141), raised_k=3.0)
    said = watch(raised)
    assert reasons(said)[-1] is None
    assert said[-1][0] < 58 + 60


def test_a_door_left_open_after_a_stuck_heater_is_the_next_thing_said() -> None:
    said = watch(
        replace(WINTER, hours=90, heater_stuck=(74, 77), door=(77, 90), heater_dead=(77, 90))
    )
    assert reasons(said) == [Reason.HEATER_STUCK, None, Reason.DOOR]


def test_a_time_nobody_listened_is_no_power_cut() -> None:
    room = RoomWatch(RoomParams())
    spoken: list[Condition] = []
    for hour, frame in frames(replace(WINTER, hours=30, silent=(20, 24.5))):
        if not 20 < hour < 24:
            spoken += room.step(frame, PROBES, {})
    assert spoken == []


def test_a_resumed_watch_says_exactly_what_an_unbroken_one_says() -> None:
    scenario = replace(WINTER, heater_stuck=(74, 80), silent=(85, 88))
    whole, resumed = RoomWatch(RoomParams()), RoomWatch(RoomParams())
    for number, (_, frame) in enumerate(frames(scenario)):
        if number % 37 == 0:
            kept = json.loads(json.dumps(resumed.state()))
            resumed = RoomWatch(RoomParams())
            resumed.restore(kept)
        assert resumed.step(frame, PROBES, {}) == whole.step(frame, PROBES, {})


def room_frames(folder: Path) -> Iterator[Frame]:
    """The frames of a folder; single impossible values left out, as quality would."""
    read = read_folder(folder)
    gather, end_s = Frames(600.0), 0.0
    for reading in iter_readings(read):
        if reading.measured_s is None or not -5 <= reading.value <= 100:
            continue
        if not end_s:
            end_s = (reading.received_s // 600 + 1) * 600
        while reading.received_s >= end_s:
            yield gather.close(end_s, read.probes)
            end_s += 600
        gather.add(Flagged(reading, reading.value))


@pytest.mark.parametrize("name", ["room5", "walk7"])
def test_a_practice_room_alarms_only_for_its_stuck_heater(name: str) -> None:
    folder = SHARED / "practice" / name
    if not folder.is_dir():
        pytest.skip(f"practice rooms are not here: no {folder.name}; set BAGWATT_SHARED")
    truth = json.loads((folder / "truth.json").read_text())["heater_stuck_from"]
    room, probes = RoomWatch(RoomParams()), read_folder(folder).probes
    begun: list[tuple[float, Condition]] = []
    stood = False
    for frame in room_frames(folder):
        found = room.step(frame, probes, {})
        if found and not stood:
            begun.append((frame.end_s, found[0]))
        stood = bool(found)
    if truth is None:
        assert begun == []
        return
    onset_s = datetime.fromisoformat(truth).timestamp()
    assert [condition.reason for _, condition in begun] == [Reason.HEATER_STUCK]
    assert 0 < begun[0][0] - onset_s <= 3600
