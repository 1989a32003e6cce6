"""The clock was ahead and is set back: people are told within minutes, and judging goes on.

A real watch on a turned clock; what it closed in the wrong future is set aside.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from monitor.store import Store, open_reader
from monitor.values import AlarmCommand, Flag, Reason
from tests.ahead import (
    DAY_S,
    MONTH_S,
    SETTINGS,
    WARM_C,
    outbox,
    raised,
    same_story,
    watch,
)
from tests.air_room import write_air_room
from tests.clocks import TurnedClock
from tests.test_clock_faults import FRAME_S, HOUR_S, START_S


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_air_room(tmp_path, ["k0"], SETTINGS)
    return tmp_path


@pytest.mark.parametrize("ahead_s", [MONTH_S, 6 * HOUR_S], ids=["30 days", "6 hours"])
@pytest.mark.parametrize("minutes", [0, 3], ids=["no frame", "three frames"])
def test_judging_goes_on_at_the_right_time_within_minutes(
    folder: Path, ahead_s: float, minutes: int
) -> None:
    """Three minutes in the wrong future must not cost thirty days of watching."""
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(30)
    clock.step_s(ahead_s)
    room.live.turn()
    room.minutes(minutes)
    clock.step_s(-ahead_s)
    back_s = clock.wall_s()
    room.minutes(20)
    room.end()
    closes = room.closes()
    assert closes == sorted(set(closes))
    assert max(closes) <= clock.wall_s()
    after = [end_s for end_s in closes if end_s > back_s]
    assert after and after[0] <= back_s + 7 * FRAME_S
    assert {b - a for a, b in pairwise(after)} == {FRAME_S}
    told = raised(folder, Reason.CLOCK_SET_BACK)
    assert len(told) == (1 if minutes else 0)
    assert all(one.at_s <= back_s + 7 * FRAME_S for one in told)
    assert all(f"{one.event_id}:owner" in outbox(folder) for one in told)
    assert not {Reason.PROBE_SILENT, Reason.WAS_DARK, Reason.POWER_CUT} & set(room.raised())
    same_story(folder)


def test_what_was_read_meanwhile_is_kept_with_its_true_time_and_marked(folder: Path) -> None:
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(10, 20.0)
    clock.step_s(MONTH_S)
    room.minutes(3, 21.0)
    clock.step_s(-MONTH_S)
    room.minutes(10, 22.0)
    room.end()
    rows = room.readings()
    assert len(rows) == 23 == room.source.acknowledged
    times = [one.measured_s for one, _ in rows]
    assert [b - a for a, b in pairwise(times)] == pytest.approx([FRAME_S] * 22)
    wrong = [flags for one, flags in rows if 21.0 <= one.value < 22.0]
    assert wrong == [(Flag.CLOCK_AHEAD,)] * 3
    assert all(flags == () for one, flags in rows if one.value < 21.0)
    assert [flags for one, flags in rows if one.value >= 22.0][-4:] == [()] * 4


def test_an_alarm_of_the_wrong_future_neither_stands_nor_blocks_the_true_one(folder: Path) -> None:
    """The room was too warm while the clock was wrong; later it is so again."""
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(10)
    clock.step_s(MONTH_S)
    room.minutes(60, WARM_C)
    (wrong,) = raised(folder, Reason.ROOM_HIGH)
    with Store.open(folder / "bagwatt.db", clock.wall_s(), check=False) as store:
        store.add_command(
            AlarmCommand(
                clock.wall_s(), "shelve", wrong.alarm_id, "owner", "I know", wrong.at_s + DAY_S
            )
        )
    room.minutes(1, WARM_C)
    clock.step_s(-MONTH_S)
    room.minutes(10)
    assert not raised(folder, Reason.ROOM_HIGH)
    void = outbox(folder)[f"aside 1: {wrong.event_id}:owner"].delivery
    assert void.state == "expired" and "clock was ahead" in void.last_answer
    with open_reader(folder / "bagwatt.db") as store:
        assert Reason.ROOM_HIGH not in {one.latest.reason for one in store.standing()}
    room.minutes(60, WARM_C)
    room.end()
    (true,) = raised(folder, Reason.ROOM_HIGH)
    assert true.alarm_id != wrong.alarm_id
    assert outbox(folder)[f"{true.event_id}:owner"].delivery.state == "waiting"
    same_story(folder)


def test_an_alarm_that_stood_before_and_ended_in_the_wrong_future_still_stands(
    folder: Path,
) -> None:
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(60, WARM_C)
    (before,) = raised(folder, Reason.ROOM_HIGH)
    clock.step_s(6 * HOUR_S)
    room.minutes(60, 20.0)
    clock.step_s(-6 * HOUR_S)
    room.minutes(10, WARM_C)
    with open_reader(folder / "bagwatt.db") as store:
        assert before.alarm_id in {one.raised.alarm_id for one in store.standing()}
    room.minutes(60, 20.0)
    room.end()
    assert raised(folder, Reason.ROOM_HIGH) == [before]
    with open_reader(folder / "bagwatt.db") as store:
        assert before.alarm_id not in {one.raised.alarm_id for one in store.standing()}
    same_story(folder)


@pytest.mark.parametrize("boot", ["boot-1", "boot-2"], ids=["same boot", "another boot"])
def test_a_start_after_the_clock_was_set_back_goes_on_too(folder: Path, boot: str) -> None:
    """What another boot stamped in the future keeps no time at all."""
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(10, 20.0)
    clock.step_s(MONTH_S)
    room.minutes(3, 21.0)
    room.killed()
    clock.step_s(-MONTH_S)
    clock.pass_s(60.0)
    clock._boot = boot
    room = watch(folder, clock)
    room.minutes(10, 22.0)
    room.end()
    assert max(room.closes()) >= clock.wall_s() - 2 * FRAME_S
    assert raised(folder, Reason.CLOCK_SET_BACK)
    wrong = [(one, flags) for one, flags in room.readings() if 21.0 <= one.value < 22.0]
    assert len(wrong) == 3
    assert all(Flag.CLOCK_AHEAD in flags for _, flags in wrong)
    known = [one.measured_s is not None for one, _ in wrong]
    assert known == [boot == "boot-1"] * 3
    same_story(folder)


def test_a_kill_just_after_it_was_set_aside_loses_neither_word_nor_reading(folder: Path) -> None:
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(10)
    clock.step_s(MONTH_S)
    room.minutes(3)
    clock.step_s(-MONTH_S)
    room.minutes(3)
    offset_s = clock.wall_s() - clock.monotonic_s()
    assert room.live._log.store.put_by(clock.wall_s(), clock.boot_id(), offset_s)
    room.killed()
    room = watch(folder, clock)
    room.minutes(5)
    room.end()
    assert len(raised(folder, Reason.CLOCK_SET_BACK)) == 1
    assert len(room.readings()) == 21
    assert max(room.closes()) >= clock.wall_s() - 2 * FRAME_S
    same_story(folder)


def test_a_battery_clock_that_began_ahead_is_put_right_by_the_network(folder: Path) -> None:
    room = watch(folder, TurnedClock(START_S - 600.0, boot="boot-0"))
    room.minutes(10)
    room.end()
    clock = TurnedClock(START_S + MONTH_S, synced=False)
    room = watch(folder, clock)
    room.minutes(10)
    assert raised(folder, Reason.WAS_DARK)
    clock.step_s(-MONTH_S + 120.0)
    room.minutes(10)
    room.end()
    assert not raised(folder, Reason.WAS_DARK)
    assert raised(folder, Reason.CLOCK_SET_BACK)
    assert max(room.closes()) >= clock.wall_s() - 2 * FRAME_S
    same_story(folder)


def test_a_small_step_back_is_waited_for_and_a_short_one_of_hours_too(folder: Path) -> None:
    """Ten minutes cost ten minutes; a time server wrong for two of them costs no frame."""
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(30)
    clock.step_s(-600.0)
    room.minutes(20)
    clock.step_s(-6 * HOUR_S)
    room.minutes(2)
    clock.step_s(6 * HOUR_S)
    room.minutes(10)
    room.end()
    with open_reader(folder / "bagwatt.db") as store:
        assert store.put_by_last() is None and store.times_put_by() == 0
    assert not raised(folder, Reason.CLOCK_SET_BACK)
    closes = room.closes()
    assert (
        closes[:30]
        == [START_S + FRAME_S * (1 + number) for number in range(30)][: len(closes[:30])]
    )
    assert max(closes) >= clock.wall_s() - 2 * FRAME_S


def test_a_time_server_wrong_by_hours_into_the_past_costs_those_hours_alone(folder: Path) -> None:
    """Nobody can know which of the two was right; what was read is all there, and it goes on."""
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(120)
    clock.step_s(-HOUR_S)
    room.minutes(20)
    clock.step_s(HOUR_S)
    room.minutes(20)
    room.end()
    assert len(raised(folder, Reason.CLOCK_SET_BACK)) == 1
    closes = room.closes()
    assert closes == sorted(set(closes)) and max(closes) >= clock.wall_s() - 2 * FRAME_S
    assert len(room.readings()) == 160 == room.source.acknowledged
    assert not {Reason.PROBE_SILENT, Reason.WAS_DARK, Reason.POWER_CUT} & set(room.raised())
    same_story(folder)


def test_a_clock_behind_that_nobody_set_is_told_and_changes_nothing(folder: Path) -> None:
    """A dead battery and no network: a wrong clock must not set aside what was right."""
    room = watch(folder, TurnedClock(START_S - 1800.0, boot="boot-0"))
    room.minutes(30)
    room.end()
    before = room.closes()
    clock = TurnedClock(START_S - HOUR_S, synced=False)
    room = watch(folder, clock)
    room.minutes(14)
    assert not any("clock-behind" in name for name in outbox(folder))
    room.minutes(4)
    (row,) = [row for name, row in outbox(folder).items() if "clock-behind" in name]
    assert row.delivery.state == "waiting" and "no bag is judged" in row.delivery.message.title
    assert room.closes() == before
    room.minutes(50)
    assert max(room.closes()) > max(before)  # it has come to where it was
    room.end()
    same_story(folder)


def test_a_clock_that_lies_where_nobody_watched_is_believed_without_a_network(
    folder: Path,
) -> None:
    """It was ahead by a day, and somebody set its battery clock while the Pi was off."""
    room = watch(folder, TurnedClock(START_S - 1800.0, boot="boot-0", synced=False))
    room.minutes(30)
    room.end()
    room = watch(folder, TurnedClock(START_S + DAY_S, boot="boot-1", synced=False))
    room.minutes(30)
    room.end()
    clock = TurnedClock(START_S + 2 * HOUR_S, boot="boot-2", synced=False)
    room = watch(folder, clock)
    room.minutes(20)
    room.end()
    assert raised(folder, Reason.CLOCK_SET_BACK)
    assert START_S + 2 * HOUR_S < max(room.closes()) <= clock.wall_s()
    same_story(folder)
