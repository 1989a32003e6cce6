"""A run taken up again where saved states are spoiled, readings are gone, or work was cut off."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.resume import Book, resume, with_items
from monitor.road import Plan
from monitor.store import Store
from monitor.values import AlarmCommand, BookEntry, Transition
from tests.faults.kills import write_room
from tests.store.samples import bag
from tests.watched import GONE, Room


@pytest.fixture
def room(tmp_path: Path) -> Room:
    write_room(tmp_path, 1)
    return Room(tmp_path)


def save(room: Room) -> None:
    """A saved state after the newest close."""
    assert room.log.last_close is not None
    room.log._save(room.log.last_close.end_s)


@pytest.mark.parametrize("spoiled", [1, 2])
def test_a_saved_state_that_does_not_fit_gives_way_to_an_older_one_or_the_log(
    room: Room, spoiled: int
) -> None:
    """As after an upgrade that remembers other things; the run is the same."""
    room.minute()
    save(room)
    room.minute((GONE,))
    save(room)
    room.minute((GONE,))
    store = room.log.store
    for checkpoint in store.checkpoints()[:spoiled]:
        store.connection.execute(
            "UPDATE checkpoints SET state = ? WHERE end_s = ?",
            (checkpoint.text.replace('"quality"', '"qualms"'), checkpoint.end_s),
        )
    said: list[str] = []
    rebuilt = resume(store, room.settings, say=said.append)
    assert rebuilt.road.state() == room.log._road.state()
    assert len(said) == spoiled and "does not fit" in said[0]


def test_a_run_without_a_fitting_state_begins_at_the_first_reading_that_is_kept(
    room: Room,
) -> None:
    """The book is whole, frames whose readings are gone are passed over, nothing is silent."""
    for _ in range(4):
        room.minute()
    save(room)
    for _ in range(2):
        room.minute()
    save(room)
    store = room.log.store
    while store.prune(1e12):
        pass
    store.connection.execute("DELETE FROM checkpoints")
    rebuilt = resume(store, room.settings)
    assert rebuilt.book.probes == room.log._book.probes
    assert rebuilt.last_reading_id == store.last_reading_id()
    assert rebuilt.last_close == room.log.last_close
    assert rebuilt.events == []


def test_a_command_whose_events_were_cut_off_is_answered_at_the_next_start(room: Room) -> None:
    """Written into the journal and put on the road, but killed before its events were stored."""
    room.minute((GONE,))
    room.minute((GONE,))
    (raised,) = room.log.store.events()
    room.log.store.add_command(
        AlarmCommand(room.clock.wall_s(), "acknowledge", raised.alarm_id, "Mara")
    )
    room.open()  # without the first one having looked at its journal
    assert [one.transition for one in room.log.store.events()] == [
        Transition.RAISED,
        Transition.ACKNOWLEDGED,
    ]
    room.open()
    assert len(room.log.store.events()) == 2
    room.check()


def test_bags_that_come_at_once_are_planned_once_and_in_time_for_what_follows(
    tmp_path: Path,
) -> None:
    """The plan comes with the last of them, before the entry after it."""
    bags = [bag(f"B-{number}") for number in range(4)]
    with Store.open(tmp_path / "store.db", 0.0) as store:
        store.add_book(1.0, bags[:3], [])
        store.add_entry(BookEntry(2.0, "B-1", "shaken"))
        store.add_book(3.0, bags, [])
        planned = [
            [len(item.bags) if isinstance(item, Plan) else item.event for item in items]
            for _, items in with_items(store.journal_after(0), Book(), store)
        ]
    assert planned == [[], [], [3], ["shaken"], [4]]
