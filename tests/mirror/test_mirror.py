"""The mirror against a server that fails in every way: nothing lost, nothing doubled."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor import house
from monitor.mirror import Mirror
from monitor.mirror.mirror import BREATH_S, FIRST_BACK_OFF_S, LONGEST_BACK_OFF_S
from monitor.mirror.points import Points
from monitor.mirror.walk import Walk
from monitor.store import Store, mirrored
from monitor.store.mirrored import Place
from monitor.values import Reason
from tests.clocks import TurnedClock
from tests.mirror.fake import FakeServer
from tests.mirror.rooms import ROOM, SITE, MirroredRoom
from tests.waiting import wait_until


class Turned:
    """A mirror turned by hand, as its thread would, on a clock that passes what it waits for."""

    def __init__(self, room: MirroredRoom, fake: FakeServer, **words: object) -> None:
        self.room, self.fake = room, fake
        self.words: dict[str, object] = {"batch": 40} | words
        self.clock = TurnedClock(room.now_s)
        self.begin()

    def begin(self) -> None:
        """As a process that starts: all it knows is in the store."""
        settings = self.fake.settings(**self.words)
        self.target = settings.target
        self.mirror = Mirror(
            settings, ROOM, self.room.store.path, self.clock, lambda: self.room.settled
        )
        self.mirror._begin(self.room.store)

    def turn(self) -> float:
        wait_s = self.mirror.turn(self.room.store)
        self.clock.pass_s(wait_s)
        return wait_s

    def drain(self) -> None:
        """Until there is nothing left to send."""
        for _ in range(1000):
            if self.turn() > BREATH_S and not self.mirror.health().detail:
                return
        raise AssertionError("it never ends")

    @property
    def standing(self) -> mirrored.Standing:
        found = mirrored.standing(self.room.store, self.target)
        assert found is not None
        return found

    def wanted(self) -> dict[tuple[str, str, int], float]:
        """Every point of the store, as the server should keep it."""
        book = FakeServer()
        walk = Walk(self.room.store, Points(SITE, ROOM, {}), Place())
        book._keep([one.line for one in walk.all(lambda: self.room.settled) if one.line])
        return book.points

    def check(self) -> None:
        assert self.fake.points == self.wanted()


@pytest.fixture
def room(tmp_path: Path) -> Iterator[MirroredRoom]:
    made = MirroredRoom(tmp_path)
    yield made
    made.store.close()


@pytest.fixture
def turned(room: MirroredRoom) -> Iterator[Turned]:
    with FakeServer() as fake:
        yield Turned(room, fake)


def test_everything_in_the_store_is_at_the_server_once(turned: Turned) -> None:
    turned.room.day(1)
    turned.drain()
    turned.check()
    assert len(turned.fake.points) > 100
    sent = turned.standing.sent
    assert turned.turn() == 1.0  # nothing new: as often as the settings say
    assert turned.standing.sent == sent


def test_the_place_moves_only_after_the_server_took_the_batch(turned: Turned) -> None:
    turned.room.fill(100)
    turned.fake.mood = "503"
    turned.turn()
    assert turned.standing.place == Place()
    turned.fake.mood = "ok"
    turned.turn()
    assert turned.standing.place.reading_id == 40
    assert turned.standing.sent == 40


def test_a_server_away_for_a_day_costs_nothing(turned: Turned) -> None:
    """Tries come ever less often; memory holds one batch, all else waits in the store."""
    turned.room.day(2)
    turned.fake.down()
    began_s = turned.clock.wall_s()
    waits = []
    while turned.clock.wall_s() < began_s + 86400:
        turned.room.fill(3)
        waits.append(turned.turn())
    assert waits[0] == FIRST_BACK_OFF_S and waits[-1] == LONGEST_BACK_OFF_S
    assert waits == sorted(waits)
    assert turned.standing.place == Place() and "not reached" in turned.standing.problem
    turned.fake.up()
    turned.drain()
    turned.check()
    assert turned.standing.problem == "" and turned.standing.failing_s is None


def test_a_batch_taken_without_an_answer_is_sent_again_to_the_same_points(turned: Turned) -> None:
    """As when the wire, the server or the Pi goes just then; the store moved on meanwhile."""
    turned.room.day(3, 30)
    turned.fake.mood = "silent"
    assert turned.turn() >= FIRST_BACK_OFF_S
    assert turned.fake.points and turned.standing.place == Place()
    turned.fake.mood = "ok"
    for name in turned.room.bags:
        turned.room.move(name, "R9")
    turned.room.day(4, 30)
    turned.begin()  # killed, and started again
    turned.drain()
    turned.check()


@pytest.mark.parametrize("every", [1, 3])
def test_killed_after_every_batch_nothing_is_lost_or_doubled(turned: Turned, every: int) -> None:
    """Killed between the server's answer and the move of the place, too."""
    turned.room.day(5, 80)
    for number in range(400):
        if number % 2:
            turned.fake.mood = "silent"
            turned.turn()
            turned.fake.mood = "ok"
        if turned.turn() > BREATH_S:
            break
        if number % every == 0:
            turned.begin()
    else:
        raise AssertionError("it never ends")
    turned.check()


def test_refused_rows_are_parked_with_the_servers_words_and_hold_up_nothing(
    turned: Turned,
) -> None:
    turned.room.day(6)
    turned.fake.bad = "bag=GO12-001"
    wanted = turned.wanted()
    turned.drain()
    turned.fake.points.update(
        {key: value for key, value in wanted.items() if "bag=GO12-001" in key[0]}
    )
    kept = {key: value for key, value in turned.fake.points.items() if key[1] != "tried"}
    assert kept == wanted  # beside the points it tried the server with
    parked = mirrored.parked(turned.room.store, turned.target, 1000)
    assert parked and all("bag=GO12-001" in one.line for one in parked)
    assert all("partial write" in one.reason for one in parked)
    assert turned.standing.refused == len(parked)


def test_rows_refused_in_the_middle_of_a_close_are_parked_too(turned: Turned) -> None:
    """A batch that moves the place nowhere is a batch all the same."""
    turned.words["batch"] = 2
    turned.begin()
    turned.room.close(hourly=True)
    turned.fake.bad = "estimate"
    turned.drain()
    assert len(mirrored.parked(turned.room.store, turned.target, 1000)) == 3


def test_parked_rows_are_bounded_and_the_oldest_go(
    turned: Turned, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mirrored, "PARKED_KEPT", 10)
    turned.fake.bad = "reading"
    turned.room.fill(50)
    turned.drain()
    parked = mirrored.parked(turned.room.store, turned.target, 1000)
    assert len(parked) == 10 and turned.standing.refused == 50
    last = Walk(turned.room.store, Points(SITE, ROOM, {}), Place(reading_id=49))
    assert [parked[-1].line] == [
        one.line for one in last.all(lambda: turned.room.settled) if one.line
    ]


def test_a_server_that_refuses_everything_parks_nothing_and_is_told_at_once(
    turned: Turned,
) -> None:
    """A wrong token is not the rows' fault; mended, all is sent."""
    turned.words["token"] = None
    turned.begin()
    turned.room.day(7)
    turned.turn()
    (told,) = house.of_mirror(turned.mirror.health(), turned.clock.wall_s())
    assert told.reason is Reason.MIRROR_FAILING and told.subject == "mirror"
    assert "401" in told.facts.detail and "mirror.token" in told.facts.detail
    assert turned.standing.refused == 0 and turned.standing.place == Place()
    del turned.words["token"]
    turned.begin()
    turned.drain()
    turned.check()
    assert house.of_mirror(turned.mirror.health(), turned.clock.wall_s()) == []


def test_a_server_that_is_away_is_told_after_half_an_hour(turned: Turned) -> None:
    turned.room.fill(1)
    turned.fake.mood = "502"
    turned.turn()
    assert house.of_mirror(turned.mirror.health(), turned.clock.wall_s()) == []
    turned.clock.pass_s(1800.0)
    (told,) = house.of_mirror(turned.mirror.health(), turned.clock.wall_s())
    assert told.facts.since_s is not None and "502" in told.facts.detail


@pytest.mark.parametrize("status", ["429", "503"])
def test_a_server_that_asks_for_patience_gets_it(turned: Turned, status: str) -> None:
    turned.room.fill(1)
    turned.fake.mood, turned.fake.headers = status, {"Retry-After": "240"}
    assert turned.turn() == 240.0
    turned.fake.mood = "ok"
    turned.drain()
    turned.check()


def test_readings_thrown_away_before_they_were_copied_are_counted_and_said(
    turned: Turned,
) -> None:
    """The card must not fill up for the sake of a copy."""
    turned.room.fill(120)
    turned.turn()
    turned.room.store.connection.execute("DELETE FROM readings WHERE id <= 100")
    turned.drain()
    assert turned.standing.lost == 60
    assert "60 readings were thrown away" in turned.room.store.notes()[-1].detail
    assert turned.standing.place.reading_id == 120
    readings = sum("temperature_c" in key[1] for key in turned.fake.points)
    assert readings == 60


def test_what_was_gathered_before_it_was_thrown_away_is_sent_and_no_loss(turned: Turned) -> None:
    turned.room.fill(60)
    turned.fake.mood = "503"
    turned.turn()
    turned.room.store.connection.execute("DELETE FROM readings WHERE id <= 50")
    turned.fake.mood = "ok"
    turned.drain()
    assert turned.standing.lost == 10  # the 40 of the batch that waited are across
    assert sum("temperature_c" in key[1] for key in turned.fake.points) == 50


def test_after_a_success_a_server_that_fails_again_is_tried_again_soon(turned: Turned) -> None:
    turned.room.fill(200)
    turned.fake.mood = "503"
    assert [turned.turn() for _ in range(4)] == [FIRST_BACK_OFF_S * 2**n for n in range(4)]
    turned.fake.mood = "ok"
    turned.turn()
    turned.fake.mood = "503"
    assert turned.turn() == FIRST_BACK_OFF_S


def test_readings_gone_before_there_was_a_mirror_are_no_loss(room: MirroredRoom) -> None:
    room.fill(50)
    room.store.connection.execute("DELETE FROM readings WHERE id <= 30")
    with FakeServer() as fake:
        turned = Turned(room, fake)
        turned.drain()
        assert turned.standing.lost == 0 and turned.standing.sent == 20


def test_another_bucket_is_copied_to_from_the_start(turned: Turned) -> None:
    """And the first one, taken up again, goes on where it was."""
    turned.room.day(8, 20)
    turned.drain()
    first = turned.standing
    turned.words["org"] = "elsewhere"
    turned.begin()
    assert turned.standing.place == Place()
    del turned.words["org"]
    turned.begin()
    assert turned.standing == first


def test_while_a_spare_is_written_nothing_is_sent(room: MirroredRoom) -> None:
    """The card can't be told how far the copy is."""
    room.fill(5)
    with FakeServer() as fake:
        turned = Turned(room, fake)
        turned.mirror._settled = lambda: None
        turned.turn()
        assert fake.requests == []


def test_the_thread_copies_what_comes_and_stops_while_a_server_hangs(tmp_path: Path) -> None:
    room = MirroredRoom(tmp_path)
    room.fill(30)
    settled = room.settled
    clock = TurnedClock(room.now_s)
    with FakeServer() as fake:
        settings = fake.settings()
        mirror = Mirror(settings, ROOM, room.store.path, clock, lambda: settled)
        mirror.start()
        wait_until(lambda: len(fake.points) == 30, 30, "the first points")
        fake.mood = "hang"
        room.fill(5)
        settled = room.settled
        wait_until(lambda: len(fake.requests) > 1, 30, "a request that hangs")
        began_s = time.monotonic()
        mirror.stop(5.0)
        assert time.monotonic() - began_s < 5.0
        assert "mirror" not in {thread.name for thread in threading.enumerate()}
    room.store.close()


def test_the_thread_takes_up_a_store_that_took_the_place_of_a_damaged_one(tmp_path: Path) -> None:
    """It is a file of the same name with another log."""
    room = MirroredRoom(tmp_path)
    room.fill(10)
    with FakeServer() as fake:
        mirror = Mirror(
            fake.settings(), ROOM, room.store.path, TurnedClock(room.now_s), lambda: 10**6
        )
        mirror.start()
        wait_until(lambda: len(fake.points) == 10, 30, "the first points")
        path = room.store.path
        for suffix in ("", "-wal", "-shm"):
            path.with_name(path.name + suffix).rename(path.with_name(f"aside{suffix}"))
        fresh = Store.open(path, room.now_s)
        room.store.close()
        room.store = fresh
        room.put_book()
        room.fill(7)
        mirror.again()
        wait_until(lambda: len(fake.points) == 17, 30, "the points of the new store")
        mirror.stop(5.0)
    room.store.close()


def test_the_thread_outlives_a_store_that_is_not_there(tmp_path: Path) -> None:
    path = tmp_path / "no folder" / "bagwatt.db"
    (tmp_path / "no folder").write_text("a file", encoding="utf-8")
    with FakeServer() as fake:
        mirror = Mirror(fake.settings(), ROOM, path, TurnedClock(1.0), lambda: 0)
        mirror.start()
        wait_until(lambda: mirror.health().detail, 30, "the trouble is noted")
        assert "no folder" in mirror.health().detail
        mirror.stop(5.0)
        assert "mirror" not in {thread.name for thread in threading.enumerate()}
