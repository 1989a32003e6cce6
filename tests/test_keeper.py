"""A store that fails while it is watched: judged on from memory, taken back, nothing twice."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor import keeper
from monitor.resume import resume
from monitor.store import open_reader
from tests.faults.kills import write_room
from tests.watched import GONE, Room

pytestmark = pytest.mark.on_disk


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    write_room(tmp_path, 1)
    one = Room(tmp_path)
    yield one
    one.forget_spare()


def test_a_full_card_stops_no_judging_and_all_is_written_once_there_is_room(room: Room) -> None:
    """Readings go on, a frame closes, an alarm is raised and its message waits in memory."""
    room.minute()
    room.fill_card()
    for _ in range(3):
        room.minute((GONE,))
    assert "full" in room.log.problem
    assert room.log.store.path != room.settings.store.path
    assert [event.subject for event in room.log.store.events()] == ["source x"]
    assert room.after_back_off()
    assert room.log.problem == ""
    room.minute((GONE,))
    assert [event.subject for event in room.log.store.events()] == ["source x"]
    room.check()


def test_a_card_that_goes_on_failing_is_tried_again_and_the_rest_stays_in_memory(
    room: Room,
) -> None:
    """Back-off between tries; what came in all of it is there in the end."""
    room.minute()
    room.fill_card()
    room.minute()
    away = room.settings.store.path.with_suffix(".away")
    room.settings.store.path.rename(away)
    room.settings.store.path.mkdir()  # nothing can be opened there
    for _ in range(3):
        assert not room.after_back_off()
        room.minute()
    room.settings.store.path.rmdir()
    away.rename(room.settings.store.path)
    room.clock.pass_s(600.0)
    assert room.log.look_after()
    room.minute()
    room.check()


def test_a_kill_while_in_memory_loses_nothing(room: Room) -> None:
    """The next start finds the spare and takes it back, once."""
    room.minute()
    room.fill_card()
    room.minute((GONE,))
    assert room.send(7)
    room.open()  # the old one is dropped as it stands
    assert room.log.store.path == room.settings.store.path
    room.minute((GONE,))
    room.check()
    room.open()
    room.check()


def test_messages_of_the_broker_repeated_after_the_change_are_known(room: Room) -> None:
    """What was committed to the card just before is not stored in memory again."""
    room.minute()
    room.fill_card()
    assert room.send(200)
    room.sent -= 200
    assert room.send(200)  # the same deliveries again
    room.sent = 28
    assert room.send(2)  # two that the card has
    room.sent = 230
    assert room.after_back_off()
    room.check()


def test_a_store_damaged_while_watching_is_moved_aside_and_the_run_goes_on(room: Room) -> None:
    """The alarm says so, the broker's repeats are still known, and the next start resumes."""
    for _ in range(3):
        room.minute()
    damage(room)
    room.minute()
    room.minute()
    assert not any("move it aside" in one for one in room.said), "it is done already"
    assert "moved aside" in room.log.problem
    assert len(list(room.folder.glob("bagwatt.db.damaged-*"))) >= 1
    assert room.log.store.path == room.settings.store.path
    with open_reader(room.settings.store.path) as store:
        rows = {int(one.raw or 0) for _, one in store.readings_after(0, 10**6)}
        assert resume(store, room.settings).road.state() == room.log._road.state()
    assert rows >= set(range(120, 150))
    room.minute()
    room.minute()
    assert room.log.problem == ""


def test_a_store_found_damaged_at_the_start_is_replaced_and_told(room: Room) -> None:
    """A close later it is still said, so that the alarm can be raised."""
    for _ in range(2):
        room.minute()
    room.log.store.close()
    path = room.settings.store.path
    path.write_bytes(b"\xff" * path.stat().st_size)
    room.open()
    assert "moved aside" in room.log.problem
    room.minute()
    assert "moved aside" in room.log.problem


def damage(room: Room) -> None:
    """Overwrite the store as a dying card might, and let nothing of it be remembered."""
    connection = room.log.store.connection
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    path = room.settings.store.path
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * (size - 4096))
    connection.execute("PRAGMA shrink_memory")


def test_what_happened_while_nothing_could_be_written_is_told_once_it_can(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A read-only card and no room for a spare: an alarm of that time is written once, later."""
    monkeypatch.setattr(keeper, "places", lambda path, medium: [])

    def told() -> int:
        return [event.subject for event in room.log.store.events()].count("source x")

    room.minute()
    card = room.log.store.connection
    card.execute("PRAGMA query_only = TRUE")
    for _ in range(3):
        room.close((GONE,))
    assert "no memory takes a spare" in room.log.problem
    card.execute("PRAGMA query_only = FALSE")
    assert told() == 0
    for _ in range(2):
        room.minute((GONE,))
    assert told() == 1 and room.log.problem == ""
    state = room.log._road.state()
    room.open()
    assert room.log._road.state() == state
    room.minute((GONE,))
    assert told() == 1
