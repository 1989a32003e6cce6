"""Flags are written also where the store refuses between a batch's commit and its flags."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from monitor import keeper, logbook
from monitor.road import Road
from monitor.runner import Item, Step
from monitor.store import Reader, Store, database, open_reader
from monitor.store.doubts import Doubts
from monitor.values import Flag
from tests.faults.kills import write_room
from tests.watched import NOW_S, Room

pytestmark = pytest.mark.on_disk
#: Every reading of it is flagged.
NO_BAG_C = 200.0


@pytest.fixture
def room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Room]:
    """A watched room that waits 50 ms for a lock."""
    monkeypatch.setattr(database, "BUSY_MS", 50)
    write_room(tmp_path, 1)
    one = Room(tmp_path)
    yield one
    one.forget_spare()


@pytest.fixture
def lock(room: Room, monkeypatch: pytest.MonkeyPatch) -> Iterator[sqlite3.Connection]:
    """Another process takes the card for itself just after the next commit of readings."""
    with closing(sqlite3.connect(room.settings.store.path, isolation_level=None)) as other:

        def then_locked(road: Road, item: Item) -> Step:
            if not other.in_transaction:
                other.execute("BEGIN IMMEDIATE")
            monkeypatch.setattr(logbook, "take", take)
            return take(road, item)

        take = logbook.take
        monkeypatch.setattr(logbook, "take", then_locked)
        yield other


def flagged(room: Room) -> dict[int, tuple[Flag, ...]]:
    """The flags on the card by the number that a reading carries."""
    with open_reader(room.settings.store.path) as store:
        return by_number(store)


def by_number(store: Reader) -> dict[int, tuple[Flag, ...]]:
    found = store.readings_with_flags(0.0, 2 * NOW_S)
    return {int(one.raw or 0): flags for _, flags, one in found}


def expected(tmp_path: Path, count: int) -> dict[int, tuple[Flag, ...]]:
    """The flags of as many readings where nothing is refused."""
    (tmp_path / "calm").mkdir()
    write_room(tmp_path / "calm", 1)
    calm = Room(tmp_path / "calm")
    assert calm.send(count, NO_BAG_C)
    calm.log.store.close()
    found = flagged(calm)
    assert any(found.values())
    return found


def test_flags_that_the_card_refused_are_there_once_it_is_free(
    room: Room, lock: sqlite3.Connection, tmp_path: Path
) -> None:
    """What came meanwhile went to the spare; until then nothing counts as settled."""
    assert room.send(30, NO_BAG_C)
    assert room.log.settled_id is None
    assert not any(flagged(room).values())
    assert room.send(30, NO_BAG_C)
    lock.execute("ROLLBACK")
    assert room.after_back_off()
    assert flagged(room) == expected(tmp_path, 60)
    assert room.log.settled_id == 60
    room.check()


def test_without_a_place_for_a_spare_they_come_with_the_next_batch(
    room: Room, lock: sqlite3.Connection, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And the run is not saved before: what goes on from there would not know of them."""
    monkeypatch.setattr(keeper, "places", lambda path, medium: [])
    before = room.log.settled_id
    assert room.send(30, NO_BAG_C)
    assert room.log.settled_id == before
    lock.execute("ROLLBACK")
    room.log._save(NOW_S)
    assert room.log.store.load_checkpoint() is None
    assert room.send(30, NO_BAG_C)
    assert flagged(room) == expected(tmp_path, 60)
    assert room.log.settled_id == 60 and room.log.problem == ""


def test_a_card_that_was_replaced_meanwhile_takes_the_flags_of_what_it_has(
    room: Room, lock: sqlite3.Connection
) -> None:
    """Readings that went with the damaged card have no flags, and hold up no others."""
    assert room.send(30, NO_BAG_C)
    lock.close()
    path = room.settings.store.path
    path.write_bytes(b"\xff" * path.stat().st_size)
    assert room.send(30, NO_BAG_C)
    assert room.after_back_off()
    assert sorted(flagged(room)) == list(range(30, 60))
    assert room.log.settled_id == 60


def test_flags_of_a_spare_move_with_its_readings(tmp_path: Path) -> None:
    """Refused by the spare, they are the card's once it took the readings, under new ids."""
    doubts = Doubts()
    doubts.add([(3, Flag.STUCK)], on_card=True)
    doubts.add([(4, Flag.RANGE), (9, Flag.LATE)], on_card=False)
    assert doubts.due(on_card=True) and doubts.due(on_card=False)
    doubts.taken_back(2)
    write_room(tmp_path, 1)
    room = Room(tmp_path)
    assert room.send(8, NO_BAG_C)
    store = room.log.store
    assert isinstance(store, Store)
    before = store.flags_of(6)
    doubts.write(store, on_card=True)
    assert not doubts.waiting
    assert Flag.STUCK in store.flags_of(3)
    assert set(store.flags_of(6)) == {*before, Flag.RANGE}
