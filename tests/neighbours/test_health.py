"""When the telling of neighbours is worth a person's time, and what is said of it."""

from __future__ import annotations

from pathlib import Path

from monitor.house import of_neighbours
from monitor.neighbours.health import FAILING_AFTER_S, HealthBook, NeighbourHealth
from monitor.neighbours.neighbours import Neighbours
from monitor.room_messages import RoomClaim
from monitor.room_summary import VERSION
from monitor.settings.load import load_settings
from monitor.terms import Reason, Urgency
from tests.clocks import TurnedClock
from tests.neighbours.telling import write_room
from tests.waiting import free_port, wait_until
from tests.watched import NOW_S

OTHER = RoomClaim(VERSION, "", "North", "aa", "1", NOW_S, "pi-2", 30.0)


def book() -> tuple[HealthBook, list[str]]:
    said: list[str] = []
    return HealthBook("North", NOW_S, said.append), said


def test_a_broker_that_is_away_for_half_an_hour_is_told() -> None:
    health, _ = book()
    health.away("barn.example:1883: refused", False, NOW_S + 5.0)
    assert of_neighbours(health.now, NOW_S + FAILING_AFTER_S - 1.0) == []
    [found] = of_neighbours(health.now, NOW_S + FAILING_AFTER_S)
    assert (found.reason, found.urgency) == (Reason.NEIGHBOURS_CUT_OFF, Urgency.LATER)
    assert (found.facts.since_s, found.facts.detail) == (NOW_S, "barn.example:1883: refused")
    health.connected("", 3, None, NOW_S + 9000.0)
    assert of_neighbours(health.now, NOW_S + 99_000.0) == []
    health.away("gone", False, NOW_S + 9500.0)
    assert health.now.since_s == NOW_S + 9500.0
    assert of_neighbours(health.now, NOW_S + 9600.0) == []


def test_what_waiting_does_not_mend_is_told_at_once() -> None:
    health, _ = book()
    health.away("answers: Not authorized", True, NOW_S)
    assert [one.reason for one in of_neighbours(health.now, NOW_S)] == [Reason.NEIGHBOURS_CUT_OFF]
    health.connected("refuses our claim", 0, None, NOW_S + 1.0)
    assert len(of_neighbours(health.now, NOW_S + 1.0)) == 1


def test_a_name_that_is_taken_is_said_once_and_stays_told_while_the_broker_is_away() -> None:
    health, said = book()
    health.held_by(None, NOW_S)
    assert said == []
    for later_s in (1.0, 2.0):
        health.held_by(OTHER, NOW_S + later_s)
    health.away("gone", False, NOW_S + 3.0)
    assert len(said) == 1 and "pi-2" in said[0]
    [found] = of_neighbours(health.now, NOW_S + 4.0)
    assert (found.reason, found.urgency) == (Reason.NAME_TAKEN, Urgency.TODAY)
    assert found.facts.since_s == NOW_S + 1.0
    health.held_by(None, NOW_S + 5.0)
    assert len(said) == 2 and health.now.holder == ""


def test_what_the_broker_has_is_remembered_while_it_is_away() -> None:
    health, _ = book()
    health.connected("", 0, NOW_S, NOW_S)
    health.away("gone", False, NOW_S + 1.0)
    assert health.now == NeighbourHealth(False, NOW_S + 1.0, "gone", False, NOW_S)


def test_a_broker_that_is_not_there_is_tried_again_and_an_end_waits_for_nothing(
    tmp_path: Path,
) -> None:
    settings = load_settings(write_room(tmp_path / "a", "North", free_port()), {})
    assert settings.neighbours is not None
    clock = TurnedClock(NOW_S)
    neighbours = Neighbours(settings, settings.neighbours, clock, print)
    neighbours.start()
    wait_until(lambda: "refused" in neighbours.health().detail, 5.0, "it is seen to be away")
    assert not neighbours.health().connected
    neighbours.stop(0.5)
    assert not neighbours._thread.is_alive()
