"""A stretch of history as a folder: replayed elsewhere it gives the same alarms."""

from __future__ import annotations

import csv
import heapq
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.book.desk import Desk
from monitor.book.events import BY_WORD, noted
from monitor.book.moments import utc_stamp
from monitor.book.places import Place
from monitor.clock import FastClock
from monitor.logbook import Logbook
from monitor.replay import replay_folder
from monitor.settings.load import load_settings
from monitor.sources.folder import Folder, iter_readings, read_folder
from monitor.store import Arrival, Store
from monitor.values import AlarmEvent, Decoded
from tests.book.farm import Farm

FRAME_S, GRACE_S = 600.0, 20.0
#: How long a reading is on its way in the run: some arrive after their frame's end.
ON_ITS_WAY_S = 3.0
LASTS_S = 3.2 * 86400.0


def arrivals(folder: Folder) -> Iterator[Arrival]:
    readings = heapq.merge(iter_readings(folder), folder.walks, key=lambda one: one.received_s)
    for number, one in enumerate(readings):
        received_s = one.received_s + ON_ITS_WAY_S
        reading = replace(one, received_s=received_s, source="")
        yield Arrival("wire", str(number), received_s, 0.0, "boot", True, Decoded((reading,)))


@pytest.fixture(scope="module")
def run(
    small_room: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Farm, Folder, list[AlarmEvent]]:
    """Three days in the store as a watch writes them, with a move and a pull by commands."""
    farm = Farm(tmp_path_factory.mktemp("run"))
    settings = load_settings(farm.path, {})
    settings = settings.model_copy(
        update={"book": settings.book.model_copy(update={"bag_code": ""})}
    )
    folder = read_folder(small_room)
    first_s = next(iter_readings(folder)).received_s
    log = Logbook(settings, FastClock(first_s, 1.0), lambda line: None)
    with Store.open(farm.db, first_s, check=False) as store, store.act(first_s, "Kim", "in") as pen:
        for bag in folder.bags.values():
            pen.put(bag, first_s)
        for probe in folder.probes.values():
            pen.put(probe, first_s)
    log.read_journal(first_s)
    names = sorted(folder.bags)
    end_s = (first_s // FRAME_S + 1) * FRAME_S
    waiting: list[Arrival] = []
    for arrival in arrivals(folder):
        if arrival.received_s > first_s + LASTS_S:
            break
        while arrival.received_s > end_s + GRACE_S:
            log.keep(waiting)
            waiting = []
            log.close(end_s, end_s + GRACE_S, ())
            if end_s == first_s // FRAME_S * FRAME_S + 2 * 86400.0:
                with Store.open(farm.db, end_s, check=False) as store:
                    desk = Desk(store, settings, "Kim", end_s + 60.0)
                    desk.move([names[2]], [Place("R9", 1, 1)], end_s + 60.0)
                    desk.note([names[3]], noted(BY_WORD["pulled"], {"cause": "heat"}), end_s + 60.0)
                log.read_journal(end_s + 60.0)
            end_s += FRAME_S
        waiting.append(arrival)
    log.keep(waiting)
    log.close(end_s, end_s + GRACE_S, ())
    events = log.store.events()
    log.store.close()
    return farm, folder, events


def test_an_exported_run_replayed_gives_the_same_alarms(
    run: tuple[Farm, Folder, list[AlarmEvent]], tmp_path: Path
) -> None:
    """Readings, walks, a move, a pull; late ones late again."""
    farm, folder, events = run
    assert {event.kind for event in events} >= {"probe"}
    words = ("--from", "2020-01-01", "--to", "2030-01-01")
    assert farm.say("bag", "export", str(tmp_path / "out"), *words) == 0
    exported = read_folder(tmp_path / "out")
    assert exported.skips.rows == []
    assert exported.bags == folder.bags
    assert {entry.event for entry in exported.book} == {"moved", "pulled"}
    replay_folder(tmp_path / "out", tmp_path / "replayed", farm.path)
    with (tmp_path / "replayed" / "alarms.csv").open(encoding="utf-8") as handle:
        replayed = [
            (
                row["kind"],
                row["transition"],
                row["urgency"],
                row["bag"],
                row["probe"],
                row["reason"],
            )
            for row in csv.DictReader(handle)
        ]
    lived = [
        (one.kind, one.transition, one.urgency, one.facts.bag, one.facts.probe, one.reason)
        for one in events
    ]
    assert replayed == lived


def test_a_later_stretch_begins_with_things_as_they_then_stood(
    run: tuple[Farm, Folder, list[AlarmEvent]], tmp_path: Path
) -> None:
    """Moved before: at its new place. Pulled before: gone from the start."""
    farm, folder, _ = run
    first_s = min(bag.inoculated_s for bag in folder.bags.values())
    since = utc_stamp(first_s + 3 * 86400.0)
    assert farm.say("bag", "export", str(tmp_path / "out"), "--from", since) == 0
    exported = read_folder(tmp_path / "out")
    names = sorted(folder.bags)
    assert exported.bags[names[2]].rack == "R9"
    assert [(one.bag, one.event) for one in exported.book] == [(names[3], "pulled")]


def test_an_export_needs_a_new_folder_and_a_stretch(
    farm: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is written over."""
    words = ("--from", "2026-03-01", "--to", "2026-03-20")
    assert farm.say("bag", "export", str(tmp_path), *words) == 2
    assert "name a new folder" in capsys.readouterr().err
    assert farm.say("bag", "export", str(tmp_path / "o"), "--from", "2026-03-20", "--to",
                    "2026-03-01") == 2  # fmt: skip
    assert "must be before" in capsys.readouterr().err
