"""Replays of rooms with truth and of real motes, where they lie beside the checkout."""

from __future__ import annotations

import csv
import gzip
import json
from collections.abc import Callable
from datetime import datetime
from functools import cache
from pathlib import Path

import pytest

from monitor.replay import ALARM_COLUMNS, ESTIMATE_COLUMNS, replay_folder
from monitor.values import Reason
from tests.conftest import shared
from tests.motes import write_folder

NAMED_WITHIN_H = 6.0
FAULTS = {
    "probe_fell": {Reason.PROBE_FELL_OFF},
    "probe_stuck": {Reason.PROBE_STUCK},
    "probe_silent": {Reason.PROBE_SILENT},
}


def hours(later: str, earlier: str) -> float:
    gap = datetime.fromisoformat(later) - datetime.fromisoformat(earlier)
    return gap.total_seconds() / 3600


def raised(out: Path) -> list[dict[str, str]]:
    with (out / "alarms.csv").open(encoding="utf-8", newline="") as handle:
        return [row for row in csv.DictReader(handle) if row["transition"] == "raised"]


@pytest.fixture(scope="module")
def replayed(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """What a replay of a practice room wrote; each room is replayed once."""

    @cache
    def replay(room: str) -> Path:
        out = tmp_path_factory.mktemp(room)
        replay_folder(shared(f"practice/{room}"), out)
        return out

    return replay


@pytest.fixture
def room5(replayed: Callable[[str], Path]) -> Path:
    return replayed("room5")


def test_replay_writes_the_three_files_of_the_format(room5: Path) -> None:
    """Columns, order and names are the stable interface."""
    with (room5 / "alarms.csv").open(encoding="utf-8", newline="") as handle:
        assert tuple(next(csv.reader(handle))) == ALARM_COLUMNS
    with gzip.open(room5 / "estimates.csv.gz", "rt", encoding="utf-8", newline="") as handle:
        rows = csv.reader(handle)
        assert tuple(next(rows)) == ESTIMATE_COLUMNS
        assert sum(1 for _ in rows) > 48 * 24 * 7
    summary = json.loads((room5 / "summary.json").read_text(encoding="utf-8"))
    assert summary["readings"] == 88_855 and summary["skipped"] == {}


def test_a_stuck_heater_is_one_room_alarm_and_no_flood(room5: Path) -> None:
    """room5's heater sticks at 21:15 on 8 March: one alarm, and soon."""
    truth = json.loads((shared("practice/room5") / "truth.json").read_text(encoding="utf-8"))
    rooms = [row for row in raised(room5) if row["kind"] == "room"]
    assert len(rooms) == 1
    assert 0 <= hours(rooms[0]["time"], truth["heater_stuck_from"]) <= 2
    at = truth["heater_stuck_from"]
    bags = [row for row in raised(room5) if row["kind"] in ("hot bag", "overheating")]
    assert len([row for row in bags if 0 <= hours(row["time"], at) <= 12]) <= 2


@pytest.mark.parametrize("room", ["room1", "room5"])
def test_silent_stuck_and_fallen_probes_are_named_as_such(
    room: str, replayed: Callable[[str], Path]
) -> None:
    """Each within six hours, and its bag never called hot or stalled for it."""
    truth = json.loads((shared(f"practice/{room}") / "truth.json").read_text(encoding="utf-8"))
    alarms = raised(replayed(room))
    for bag, said in truth.items():
        if not isinstance(said, dict):
            continue
        for fault, reasons in FAULTS.items():
            if said[fault] is None:
                continue
            named = [
                row for row in alarms
                if row["kind"] == "probe" and row["bag"] == bag and row["reason"] in reasons
                and 0 <= hours(row["time"], said[fault]) <= NAMED_WITHIN_H
            ]  # fmt: skip
            assert named, f"{bag} {fault} at {said[fault]}"
            if said["kind"] == "healthy":
                called = [row for row in alarms if row["bag"] == bag and row["kind"] == "hot bag"]
                assert called == []


def test_dying_motes_are_called_probes_and_never_hot_bags(tmp_path: Path) -> None:
    """Nine motes of a real laboratory whose sensors climb to 122 °C as their batteries fail.

    Source: Intel Berkeley Research lab motes, 2004 (de Bruijn et al., CC BY-SA); the moment
    is the first half-hour median above 50 °C.
    """
    died = {
        "M01": "2004-03-23T07:00:00Z", "M04": "2004-03-21T08:00:00Z",
        "M06": "2004-03-19T09:00:00Z", "M19": "2004-03-19T00:30:00Z",
        "M22": "2004-03-23T21:30:00Z", "M23": "2004-03-22T05:30:00Z",
        "M33": "2004-03-23T00:30:00Z", "M34": "2004-03-22T05:30:00Z",
        "M45": "2004-03-24T02:30:00Z",
    }  # fmt: skip
    write_folder(shared("data/intel_motes_raw"), tmp_path / "motes", every=10)
    replay_folder(tmp_path / "motes", tmp_path / "out")
    alarms = raised(tmp_path / "out")
    for bag, at in died.items():
        since = [row for row in alarms if row["bag"] == bag and hours(row["time"], at) >= -30]
        named = [hours(row["time"], at) for row in since if row["reason"] == "impossible values"]
        assert named and named[0] <= 6, bag
        # it reads as a warm bag for its first hours; once it is named it is so to the end
        hot = [hours(row["time"], at) for row in since if row["kind"] == "hot bag"]
        assert [hour for hour in hot if hour > named[0] or hour > -5] == [], bag
