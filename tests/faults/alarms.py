"""Killed anywhere and resumed: the same alarm events and messages as without a kill.

python -m tests.faults.alarms [--kills 40] [--seed 1]

A recorded folder is driven through a real store, fast, by a process that is killed at random
moments; each next one finds its place in the store alone and sends what it can't know to be
stored once more, as a broker would.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from demo.command import parser_for
from monitor.logbook import Logbook
from monitor.replay import merged
from monitor.runner import Close, Item, with_closes
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.sources.folder import read_folder
from monitor.store import Arrival, LogKind, open_reader
from monitor.values import (
    AlarmCommand,
    AlarmKind,
    Condition,
    Decoded,
    Facts,
    Reading,
    Reason,
    Urgency,
)
from tests.clocks import TurnedClock

FRAME_S = 600.0
HOUR_S = 3600.0
BATCH = 25
ENDLESS_S = 1e6
SETTINGS = """\
room: {name: Quarry Lane, folder: room, timezone: Europe/London, band_low: 10 C, band_high: 30 C}
recipients:
  - name: owner
    urls: [{env: FAULTS_URL}]
    least_urgency: later
    quiet: {from: "22:00", until: "06:30"}
  - {name: hand, urls: [{env: FAULTS_URL}]}
store: {path: bagwatt.db}
"""
ENVIRONMENT = {"FAULTS_URL": "json://127.0.0.1:9/nobody"}


def prepare(folder: Path, room: Path) -> Settings:
    """Settings over a recorded room."""
    folder.mkdir(exist_ok=True)
    (folder / "room").symlink_to(room)
    (folder / "monitor.yaml").write_text(SETTINGS, encoding="utf-8")
    return load_settings(folder, ENVIRONMENT)


def stretches(room: Path) -> Iterator[tuple[list[tuple[int, Reading]], Close]]:
    """The recorded readings with their numbers, frame by frame, each with its close."""
    held: list[tuple[int, Reading]] = []
    items: Iterator[Item] = with_closes(merged(read_folder(room)), FRAME_S)
    for number, item in enumerate(items):
        if isinstance(item, Reading):
            held.append((number, item))
        elif isinstance(item, Close):
            yield held, item
            held = []


def drive(settings: Settings, closes: int | None = None) -> None:
    """Go on where the store says that the last run stopped, to the end or so many closes."""
    clock = TurnedClock(0.0)
    log = Logbook(settings, clock, lambda _: None)
    closed_s = log.last_close.end_s if log.last_close else 0.0
    if closed_s:
        clock.step_s(closed_s - clock.wall_s())
        _answer_first_alarm(log, closed_s)  # a kill may have come between close and answer
    for readings, close in islice(stretches(settings.room.folder), closes):
        if close.end_s <= closed_s:
            continue
        clock.step_s(close.end_s - clock.wall_s())
        if closed_s == 0.0:
            log.take_folder(read_folder(settings.room.folder), [], clock.wall_s())
            closed_s = close.end_s
        for start in range(0, len(readings), BATCH):
            assert log.keep([_arrival(*one) for one in readings[start : start + BATCH]])
        log.close(close.end_s, close.end_s + 20.0, _house(close.end_s))
        _answer_first_alarm(log, close.end_s)
    log.store.close()


def _house(end_s: float) -> tuple[Condition, ...]:
    """A source that falls silent for an hour, four times a day, so that any day has alarms."""
    if end_s % (6 * HOUR_S) >= HOUR_S:
        return ()
    reason = Reason.SOURCE_SILENT
    return (Condition(AlarmKind.HOUSE, "source x", Urgency.TODAY, reason, Facts(detail="x")),)


def _arrival(number: int, reading: Reading) -> Arrival:
    return Arrival("record", f"d{number}", reading.received_s, 0.0, "b", True, Decoded((reading,)))


def _answer_first_alarm(log: Logbook, now_s: float) -> None:
    """A person acknowledges each alarm in the first close at which it stands unanswered."""
    for alarm in log.store.standing():
        asked = any(
            item.kind is LogKind.COMMAND and item.body.alarm_id == alarm.raised.alarm_id
            for item in log.store.journal_after(0)
            if isinstance(item.body, AlarmCommand)
        )
        if not asked:
            log.store.add_command(AlarmCommand(now_s, "acknowledge", alarm.raised.alarm_id, "Mara"))
    log.read_journal(now_s)


def drive_in_child(settings: Settings, closes: int | None, limit_s: float) -> bool:
    """Drive in a forked process, killed after a while; True when it came to the end."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            drive(settings, closes)
            code = 0
        finally:
            os._exit(code)
    until_s = time.monotonic() + limit_s
    while time.monotonic() < until_s:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            assert status == 0, f"the driver ended with {status}"
            return True
        time.sleep(0.002)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


@dataclass(frozen=True, slots=True)
class Told:
    """All that a run told: events and messages in order, and how many readings it holds."""

    events: list[tuple[str, str, str]]
    messages: list[tuple[str, str]]
    readings: int


def told(settings: Settings) -> Told:
    with open_reader(settings.store.path) as store:
        return Told(
            [(one.event_id, one.subject, one.reason) for one in store.events()],
            [
                (row.delivery.message.message_id, row.delivery.message.body)
                for row in store.outbox(limit=10**6)
            ],
            store.counts().readings,
        )


def compare(
    room: Path, folder: Path, kills: int, seed: int, closes: int | None = None
) -> tuple[int, Told, Told]:
    """Kills that happened, what the undisturbed run told, and what the killed one told.

    The undisturbed run says how long the work takes here, and so how soon to kill.
    """
    draw = random.Random(seed)
    calm = prepare(folder / "calm", room)
    began_s = time.monotonic()
    drive(calm, closes)
    mean_s = (time.monotonic() - began_s) / (2 * kills)
    killed = prepare(folder / "killed", room)
    done = 0
    while not drive_in_child(
        killed, closes, draw.expovariate(1 / mean_s) if done < kills else ENDLESS_S
    ):
        done += 1
    return done, told(calm), told(killed)


def main() -> int:
    from demo.folder import write_folder
    from demo.rooms import FIRST, make_room

    parser = parser_for("tests.faults.alarms", __doc__)
    parser.add_argument("--kills", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    words = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        room = Path(name) / "record"
        room.mkdir()
        write_folder(make_room(FIRST, words.seed), room)
        kills, calm, killed = compare(room, Path(name), words.kills, words.seed)
    same = calm == killed
    print(
        f"{kills} kills, {calm.readings} readings, {len(calm.events)} events,"
        f" {len(calm.messages)} messages: {'the same' if same else 'NOT the same'}"
    )
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
