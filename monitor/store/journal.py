"""What people and the clock did, in order, and the log of everything in order of arrival.

Rebuilding a run means reading this log: readings, commands, book entries, versions of bags and
probes, re-stamps, and the closing of frames, exactly as they came.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import asdict, replace

from monitor.store import frames, readings
from monitor.store.codec import from_text, to_text
from monitor.store.records import BookChange, FrameClose, LogItem, LogKind, Restamp, Struck
from monitor.values import AlarmCommand, Bag, BookEntry, Probe, Record

BAG, PROBE = "bag", "probe"
GONE = "null"
#: How far the clock was ahead when a row was written, in what was set aside; else nothing.
_AHEAD = (
    "(SELECT ahead_s FROM set_aside WHERE journal.id > after_journal_id"
    " AND journal.id <= last_journal_id AND journal.at_s > set_aside.at_s ORDER BY id LIMIT 1)"
)
_ROW = f"id, kind, name, body, {_AHEAD}"
#: A command given then is of an alarm that is void, or until a moment that nobody meant.
_VOID = f"kind = '{LogKind.COMMAND.value}' AND {_AHEAD} IS NOT NULL"


def add_command(connection: sqlite3.Connection, command: AlarmCommand) -> int:
    """Write down what a person asks of an alarm; returns its place in the journal."""
    return append(connection, command.at_s, LogKind.COMMAND, command.alarm_id, to_text(command))


def add_entry(connection: sqlite3.Connection, entry: BookEntry) -> int | None:
    """Write down a book entry; None when the very same entry is there already."""
    text = to_text(entry)
    there = connection.execute(
        "SELECT 1 FROM journal WHERE kind = ? AND name = ? AND body = ?",
        (LogKind.ENTRY, readings.clean_text(entry.bag), text),
    ).fetchone()
    return None if there else append(connection, entry.at_s, LogKind.ENTRY, entry.bag, text)


def add_restamp(connection: sqlite3.Connection, at_s: float, step: Restamp) -> int:
    """Write down that the clock stepped."""
    return append(connection, at_s, LogKind.RESTAMP, step.boot_id, json.dumps(asdict(step)))


def add_book(
    connection: sqlite3.Connection, at_s: float, bags: Iterable[Bag], probes: Iterable[Probe]
) -> list[LogItem]:
    """Take what the room's folder says now: versions of what it changed since it last spoke.

    What the folder says as before does not touch what the book's commands changed meanwhile;
    the newest change wins, whichever way it came. What left the folder leaves the book, unless
    a command had its hand in it.
    """
    wanted = {(BAG, readings.clean_text(bag.bag)): to_text(bag) for bag in bags}
    wanted |= {(PROBE, readings.clean_text(one.probe)): to_text(one) for one in probes}
    known, said = versions(connection), versions(connection, "act IS NULL")
    changed = {
        key: text
        for key, text in wanted.items()
        if said.get(key) != text and known.get(key) != text
    }
    changed |= {
        key: GONE
        for key, text in said.items()
        if key not in wanted and text != GONE and known[key] == text
    }
    items = []
    for (kind, name), text in changed.items():
        number = append(connection, at_s, kind, name, text)
        items.append(_item(number, kind, name, text))
    return items


def book(connection: sqlite3.Connection) -> tuple[dict[str, Bag], dict[str, Probe]]:
    """The bags and probes as they stand."""
    bags, probes = {}, {}
    for (kind, name), text in versions(connection).items():
        if text != GONE and kind == BAG:
            bags[name] = from_text(Bag, text)
        elif text != GONE:
            probes[name] = from_text(Probe, text)
    return bags, probes


def after(connection: sqlite3.Connection, last_id: int) -> list[LogItem]:
    """What was written since, perhaps by another process."""
    rows = connection.execute(
        f"SELECT {_ROW} FROM journal WHERE id > ? ORDER BY id", (last_id,)
    ).fetchall()
    return [_item(*row) for row in rows]


def last_id(connection: sqlite3.Connection) -> int:
    """The id of the newest row there ever was, 0 where there was none."""
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'journal'").fetchone()
    return 0 if row is None else int(row[0])


def place(connection: sqlite3.Connection) -> tuple[int, int]:
    """Where the log ends: the ids of the newest reading and the newest row there ever were."""
    counts: dict[str, int] = dict(
        connection.execute(
            "SELECT name, seq FROM sqlite_sequence WHERE name IN ('readings', 'journal')"
        ).fetchall()
    )
    return counts.get("readings", 0), counts.get("journal", 0)


def since(
    connection: sqlite3.Connection, last_reading_id: int, last_journal_id: int
) -> tuple[Iterator[LogItem], int, int]:
    """What came after a place in the log, in its order, and the place it then ends at.

    Both ends are taken at one moment: what is written while it is read waits for the next call.
    """
    reading_id, journal_id = place(connection)
    start = FrameClose(0.0, 0.0, last_reading_id, last_journal_id)
    end = FrameClose(0.0, 0.0, reading_id, journal_id)
    return _merged(connection, start, end), reading_id, journal_id


def iter_log(
    connection: sqlite3.Connection, after_frame_end_s: float | None = None
) -> Iterator[LogItem]:
    """The log from its start, or from after the close of a frame, to its end.

    Within a frame a journal row comes after the readings that were there when it was written.
    Raises KeyError when that frame was never closed.
    """
    place, start = FrameClose(0.0, 0.0, 0, 0), 0
    if after_frame_end_s is not None:
        start, place = frames.at(connection, after_frame_end_s)
    for number, close in frames.after(connection, start):
        yield from _merged(connection, place, close)
        yield LogItem(LogKind.FRAME, number, close)
        place = close
    newest = connection.execute("SELECT COALESCE(MAX(id), 0) FROM journal").fetchone()[0]
    end = FrameClose(0.0, 0.0, readings.last_id(connection), newest)
    yield from _merged(connection, place, end)


def _merged(
    connection: sqlite3.Connection, start: FrameClose, end: FrameClose
) -> Iterator[LogItem]:
    rows = connection.execute(
        f"SELECT after_reading_id, {_ROW} FROM journal"
        f" WHERE id > ? AND id <= ? AND NOT ({_VOID}) ORDER BY id",
        (start.last_command_id, end.last_command_id),
    ).fetchall()
    waiting = iter(rows)
    row = next(waiting, None)
    arrived = readings.between(
        connection, start.last_reading_id, end.last_reading_id, readings.AS_ARRIVED
    )
    for number, reading in arrived:
        while row is not None and row[0] < number:
            yield _item(*row[1:])
            row = next(waiting, None)
        yield LogItem(LogKind.READING, number, reading)
    while row is not None:
        yield _item(*row[1:])
        row = next(waiting, None)


def append(
    connection: sqlite3.Connection,
    at_s: float,
    kind: str,
    name: str,
    body: str,
    act: int | None = None,
) -> int:
    """Add a row; returns its id."""
    cursor = connection.execute(
        "INSERT INTO journal (at_s, kind, name, after_reading_id, body, act)"
        " VALUES (?, ?, ?, ?, ?, ?)",
        (at_s, kind, readings.clean_text(name), readings.last_id(connection), body, act),
    )
    return cursor.lastrowid or 0


def versions(connection: sqlite3.Connection, condition: str = "TRUE") -> dict[tuple[str, str], str]:
    """The newest version of each bag and probe under (kind, name); GONE where it left."""
    rows = connection.execute(
        "SELECT kind, name, body FROM journal WHERE id IN"
        f" (SELECT MAX(id) FROM journal WHERE kind IN (?, ?) AND {condition} GROUP BY kind, name)",
        (BAG, PROBE),
    ).fetchall()
    return {(kind, name): body for kind, name, body in rows}


def _item(number: int, kind: str, name: str, body: str, ahead_s: float | None = None) -> LogItem:
    match kind:
        case LogKind.COMMAND:
            return LogItem(LogKind.COMMAND, number, from_text(AlarmCommand, body))
        case LogKind.ENTRY:
            entry = from_text(BookEntry, body)
            moved = replace(entry, at_s=entry.at_s - ahead_s) if ahead_s else entry
            return LogItem(LogKind.ENTRY, number, moved)
        case LogKind.RESTAMP:
            return LogItem(LogKind.RESTAMP, number, Restamp(**json.loads(body)))
        case LogKind.STRUCK:
            return LogItem(LogKind.STRUCK, number, Struck(int(body)))
    if kind not in (BAG, PROBE):
        record = from_text(Record, body) if body != GONE else Record(kind, name)
        return LogItem(LogKind.RECORD, number, record)
    noun: type[Bag] | type[Probe] = Probe if kind == PROBE else Bag
    now = None if body == GONE else from_text(noun, body)
    return LogItem(LogKind.BOOK, number, BookChange(name, now, kind == PROBE))
