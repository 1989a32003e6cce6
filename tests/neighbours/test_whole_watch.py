"""A whole `bagwatt watch` whose name is taken says so to people, and goes on."""

from __future__ import annotations

from pathlib import Path

from monitor.errors import StoreError
from monitor.store import StandingAlarm, open_reader
from monitor.terms import Reason, Urgency
from tests.broker import Broker
from tests.neighbours.telling import telling, watch, write_room
from tests.waiting import wait_until


def standing(path: Path) -> list[StandingAlarm]:
    """The alarms in a store; none while it is being made."""
    try:
        with open_reader(path) as store:
            return store.standing()
    except StoreError:
        return []


def test_a_watch_whose_name_is_taken_raises_an_alarm_that_ends_with_the_reason(
    broker: Broker, tmp_path: Path
) -> None:
    younger = write_room(tmp_path / "b", "North", broker.port)
    path = younger / "bagwatt.db"
    with telling(write_room(tmp_path / "a", "North", broker.port)) as older:
        end_s = older.close()
        wait_until(lambda: older.told_all(end_s), 5.0, "the older tells")
        with watch(younger, "2026-12-24T12:00:00Z") as process:
            wait_until(lambda: standing(path), 20.0, "an alarm")
            [alarm] = standing(path)
            assert (alarm.latest.reason, alarm.latest.urgency) == (Reason.NAME_TAKEN, Urgency.TODAY)
            older.neighbours.stop(3.0)
            wait_until(lambda: not standing(path), 20.0, "it ends")
            process.terminate()
            assert process.wait(5) == 0
    log = (younger / "watch.log").read_text(encoding="utf-8")
    assert "another monitor watches a room of this name: North on host" in log
    assert "the name North on the broker is ours now" in log
