"""What is told of the time in which nobody watched."""

from __future__ import annotations

from pathlib import Path

from monitor.house import DARK_TOLD_CLOSES, DARK_WAIT_CLOSES, Air, Darkness
from monitor.store import spare_path
from monitor.values import Facts, Reason
from tests.faults.kills import write_room
from tests.watched import Room

THREE_HOURS_S = 3 * 3600.0


def test_darkness_waits_for_the_air_and_holds_long_enough_to_become_an_alarm() -> None:
    """How far the room went: before, after, and the bounds of all that was heard."""
    dark = Darkness(THREE_HOURS_S, Air(22.0, 21.5, 22.5))
    assert dark.at_close(Air) == []
    air = Air(17.0, 16.5, 21.0)
    told = [dark.at_close(lambda: air) for _ in range(DARK_TOLD_CLOSES + 1)]
    assert [len(one) for one in told] == [1] * DARK_TOLD_CLOSES + [0]
    assert told[0][0].reason is Reason.WAS_DARK
    assert told[0][0].facts == Facts(
        silent_for_s=THREE_HOURS_S, air_before_c=22.0, air_c=17.0, low_c=16.5, high_c=22.0
    )


def test_darkness_is_told_without_the_air_where_no_probe_comes_back() -> None:
    """A few closes are enough to wait."""
    dark = Darkness(THREE_HOURS_S, Air())
    told = [dark.at_close(Air) for _ in range(DARK_WAIT_CLOSES)]
    assert [len(one) for one in told] == [0] * (DARK_WAIT_CLOSES - 1) + [1]


def test_a_short_restart_is_not_worth_a_word() -> None:
    """An upgrade takes a minute."""
    assert Darkness(60.0, Air(22.0)).at_close(lambda: Air(22.0, 22.0, 22.0)) == []


def test_the_air_before_and_since_a_start_comes_from_the_store(tmp_path: Path) -> None:
    """Readings of the last frame before; then what came since, by the probes of the book."""
    write_room(tmp_path, 1)
    room = Room(tmp_path)
    room.minute()
    room.minute()
    room.log.store.close()
    room.clock.pass_s(THREE_HOURS_S)
    room.open()
    before = room.log.air_before()
    assert before.mean_c is not None and abs(before.mean_c - 15.0445) < 1e-9
    assert room.log.air_since() == Air()
    room.sent = 2000
    room.minute()
    since = room.log.air_since()
    assert (since.low_c, since.high_c) == (17.0, 17.029)
    assert spare_path(room.settings.store.path) is not None
