"""A room in a few words: air against its band, how it is heard, what is wrong with its monitor."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from monitor.farm.room_words import (
    air_words,
    alarm_counts,
    alarm_lines,
    bag_words,
    heard_words,
    monitor_troubles,
)
from monitor.farm.standing import Claimant, Hearing, Refused, RoomStanding
from monitor.room_summary import BagCounts, MonitorHealth, RoomAir
from monitor.terms import Urgency
from tests.farm.samples import NOW_S, alarm, summary

ZONE = ZoneInfo("Europe/London")
ONE = Claimant("a", "pi-north", NOW_S - 3600.0, 0.0, 90.0)
ROOM = RoomStanding(
    "North", Hearing.HEARD, summary(), 120.0, NOW_S - 120.0, -20.0, (ONE,), None
)  # fmt: skip


@pytest.mark.parametrize(
    ("air", "units", "words"),
    [
        (RoomAir(21.5, 20.5, 22.0, 20.0, 24.0), "C", "21.5 °C"),
        (RoomAir(21.5, 19.0, 22.0, 20.0, 24.0), "C", "21.5 °C, in places 1.0 °C under its band"),
        (RoomAir(21.5, 20.5, 26.0, 20.0, 24.0), "F", "70.7 °F, in places 3.6 °F over its band"),
        (RoomAir(18.0, 17.0, 22.0, 20.0, 24.0), "C", "18.0 °C, under its 20.0 °C"),
        (RoomAir(25.0, 24.0, 26.0, 20.0, 24.0), "F", "77.0 °F, over its 75.2 °F"),
        (RoomAir(25.0, 24.0, 26.0, None, None), "C", "25.0 °C"),
        (RoomAir(None, None, None, 20.0, 24.0), "C", "not heard"),
    ],
)
def test_air_is_told_against_its_band(air: RoomAir, units: str, words: str) -> None:
    assert air_words(air, units) == words


@pytest.mark.parametrize(
    ("hearing", "words"),
    [
        (Hearing.HEARD, "2 min ago"),
        (Hearing.SILENT, "not heard since Mon 00:58"),
        (Hearing.GONE, "nobody watches it; last heard Mon 00:58"),
        (Hearing.NO_WORD, "no word yet"),
        (
            Hearing.NOT_UNDERSTOOD,
            "its message is not understood, unknown version: 2; last understood Mon 00:58",
        ),
    ],
)
def test_how_a_room_is_heard_is_told_with_its_time(hearing: Hearing, words: str) -> None:
    refused = Refused("t", "unknown version", "2", NOW_S)
    room = replace(ROOM, hearing=hearing, refused=refused)
    assert heard_words(room, ZONE, NOW_S) == words


def test_a_room_that_never_spoke_is_told_without_a_time() -> None:
    room = replace(ROOM, hearing=Hearing.GONE, summary=None, age_s=None, heard_s=None)
    assert heard_words(room, ZONE, NOW_S) == "nobody watches it"
    assert (bag_words(room), set(alarm_counts(room).values())) == ("?", {"?"})
    assert alarm_lines(room, ZONE, NOW_S) == ([], 0)
    assert monitor_troubles(room) == []


def test_what_is_wrong_with_a_monitor_is_listed() -> None:
    told = replace(summary(), monitor=MonitorHealth(("bench", "R 2"), 1, 20.0, "disk full"))
    two = (ONE, Claimant("b", None, None, 0.0, 90.0))
    room = replace(ROOM, summary=told, claimants=two, clock_ahead_s=-7200.0)
    assert monitor_troubles(room) == [
        "two monitors claim this name (pi-north and unknown): give one room another name",
        "its clock is 2 h behind ours",
        "disk full",
        "silent: bench and R 2",
        "1 message waits to be delivered",
    ]
    assert monitor_troubles(ROOM) == []


def test_unanswered_alarms_are_counted_and_the_gravest_are_told() -> None:
    alarms = [
        alarm(Urgency.LATER, bag="B-4"), alarm(Urgency.NOW, answered=True, bag="B-0"),
        alarm(Urgency.NOW, bag="B-1"), *(alarm(bag=f"B-{n}") for n in (2, 3)),
    ]  # fmt: skip
    told = replace(summary(alarms=alarms), alarms_left_out=4, bags=BagCounts(24, 2, 2, 1, 19, 3))
    room = replace(ROOM, summary=told)
    assert alarm_counts(room) == {Urgency.NOW: "1+", Urgency.TODAY: "2+", Urgency.LATER: "1+"}
    lines, more = alarm_lines(room, ZONE, NOW_S)
    assert lines[0] == "now: B-1, hot bag, added heat, since Mon 00:00"
    assert [line.split(",")[0] for line in lines[1:]] == ["today: B-2", "today: B-3"]
    assert more == 5
    assert bag_words(room) == "24, 3 unheard"
