"""What goes on beside a clock that is set back: commands, recounts, nights, a full card."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.recount import of_store
from monitor.review.nights import Window
from monitor.settings.load import load_settings
from monitor.store import Store, open_reader
from monitor.values import Reason
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
from tests.test_clock_faults import FRAME_S, HOUR_S, START_S, Watch


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_air_room(tmp_path, ["k0"], SETTINGS)
    return tmp_path


def test_more_than_a_day_of_frames_is_not_set_aside_within_the_hour(folder: Path) -> None:
    """A time server that is a year behind for half an hour: people are told, nothing is lost."""
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(10)
    with Store.open(folder / "bagwatt.db", clock.wall_s(), check=False) as store:
        for number in range(1440):  # as after a day and some minutes
            store.close_frame(START_S - HOUR_S - number * FRAME_S, START_S, 0, 0)
    clock.step_s(-MONTH_S)
    room.minutes(30)
    assert any("clock-behind" in name for name in outbox(folder))
    clock.step_s(MONTH_S)
    room.minutes(5)
    assert not raised(folder, Reason.CLOCK_SET_BACK)
    clock.step_s(-MONTH_S)
    room.minutes(65)
    room.end()
    assert raised(folder, Reason.CLOCK_SET_BACK)


def test_what_was_recounted_in_the_wrong_future_is_recounted(folder: Path) -> None:
    """Frames of the same ends may be closed again, with other things in them."""
    settings = load_settings(folder, {"URL": "json://127.0.0.1:9/nobody"})
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(10)
    clock.step_s(HOUR_S)
    room.minutes(10, WARM_C)
    with open_reader(folder / "bagwatt.db") as store:
        of_store(store, settings)
    clock.step_s(-HOUR_S)
    room.minutes(90)
    room.end()
    with open_reader(folder / "bagwatt.db") as store:
        went_on = of_store(store, settings)
        shutil.rmtree(folder / "bagwatt.db.evidence")
        assert went_on.frames == of_store(store, settings).frames


@pytest.mark.parametrize("command", ["night", "alarms", "trace"])
def test_commands_work_before_and_after_the_clock_is_set_back(
    folder: Path, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("URL", "json://127.0.0.1:9/nobody")
    clock = TurnedClock(time.time() - 7200.0)
    room = watch(folder, clock)
    room.minutes(40)
    clock.step_s(MONTH_S)
    room.minutes(20, WARM_C)
    words = [command, "--config", str(folder)]
    first = main(words)
    clock.step_s(-MONTH_S)
    room.minutes(3)
    assert main(words) == first
    room.minutes(40)
    assert main(words) == first in (0, 1)
    room.end()


def test_a_full_card_has_it_wait_and_it_is_done_once_there_is_room(folder: Path) -> None:
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(10)
    clock.step_s(MONTH_S)
    room.minutes(3)
    pages = "PRAGMA max_page_count = {}"
    room.live._log.store.connection.execute(pages.format(1))
    room.live._log.note("filled", "x" * 100_000)
    assert not room.live._log._keeper.on_card
    clock.step_s(-MONTH_S)
    room.live._log._keeper._next_try_s = clock.monotonic_s() + 1200.0
    room.minutes(18)
    assert any("clock-behind" in one for one in spared(room))
    room.minutes(12)
    room.end()
    assert max(room.closes()) >= clock.wall_s() - 2 * FRAME_S
    assert raised(folder, Reason.CLOCK_SET_BACK)
    assert len(room.readings()) == 43
    same_story(folder)


def spared(room: Watch) -> list[str]:
    return [one.delivery.message.message_id for one in room.live._log.store.outbox()]


def test_nights_told_in_the_wrong_future_are_told_again(folder: Path) -> None:
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    morning = room.live._morning
    morning._told_s = Window(START_S + MONTH_S, START_S + MONTH_S + HOUR_S).start_s
    room.minutes(10)
    clock.step_s(MONTH_S)
    room.minutes(3)
    clock.step_s(-MONTH_S)
    room.minutes(10)
    assert morning._told_s == 0.0
    room.end()


def test_a_clock_ahead_for_longer_than_two_saved_states_is_rebuilt_from_the_one_before(
    folder: Path,
) -> None:
    clock = TurnedClock(START_S)
    room = watch(folder, clock)
    room.minutes(70)
    clock.step_s(DAY_S)
    room.minutes(200)
    with open_reader(folder / "bagwatt.db") as store:
        ends = [one.end_s for one in store.checkpoints()]
    assert len(ends) == 3 and ends[2] <= START_S + 70 * FRAME_S < ends[1]
    clock.step_s(-DAY_S)
    room.minutes(10)
    room.end()
    assert max(room.closes()) >= clock.wall_s() - 2 * FRAME_S
    assert len(room.readings()) == 280
    same_story(folder)
