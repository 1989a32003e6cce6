"""Raw readings, append-only in order of arrival; flags beside them; what was refused.

A delivery seen before leaves no trace: its key is looked up in the transaction that stores it
(`seen.py`).
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import chain
from typing import Any

from monitor.store.records import Arrival, Heard, Quarantined, Restamp
from monitor.store.seen import first_times
from monitor.values import Flag, Quantity, Reading, Refusal, Refused

QUARANTINE_KEPT = 10_000
REFUSED_BYTES = 4096
_CHUNK = 1000

COLUMNS = "probe, quantity, value, measured_s, received_s, source, bag, raw, raw_unit, marks"
_INSERT = (
    "INSERT INTO readings (received_s, monotonic_s, boot, synced, source, probe, bag,"
    " quantity, value, measured_s, raw, raw_unit, marks) VALUES "
)
_PLACES = f"({', '.join('?' * 13)})"
#: Rows that go in with one statement: Python hands its lock to the sources' threads, and waits to
#: have it back, once for each.
_ROWS_AT_ONCE = (50, 10, 1)
#: The same, but with the measured time as the road first saw it.
AS_ARRIVED = COLUMNS.replace("measured_s", "COALESCE(stamped_s, measured_s)", 1)


Stored = tuple[int, Reading]


def add(connection: sqlite3.Connection, arrivals: Sequence[Arrival]) -> list[list[Stored]]:
    """Store arrivals; for each its new readings with their ids, none where it was a repeat.

    A reading is given as it will be read back.
    """
    boots: dict[str, int] = {}
    stored: list[list[Stored]] = []
    rows: list[tuple[object, ...]] = []
    next_id = last_id(connection) + 1  # ids are given one after the other
    for arrival, first in zip(arrivals, first_times(connection, arrivals), strict=True):
        if not first:
            stored.append([])
            continue
        if arrival.boot_id not in boots:
            boots[arrival.boot_id] = boot(connection, arrival.boot_id)
        sound, refused = _sorted_out(arrival)
        stored.append(list(enumerate(sound, next_id)))
        next_id += len(sound)
        rows += [_row(arrival, boots[arrival.boot_id], one) for one in sound]
        for one in refused:
            _refuse(connection, one)
    _insert(connection, rows)
    _remember_sessions(connection, arrivals)
    return stored


def session(connection: sqlite3.Connection, source: str) -> str:
    """The broker session in which a source's messages were last counted; empty if none."""
    row = connection.execute("SELECT session FROM sessions WHERE source = ?", (source,)).fetchone()
    return "" if row is None else str(row[0])


def _remember_sessions(connection: sqlite3.Connection, arrivals: Sequence[Arrival]) -> None:
    newest = {one.source: one.session for one in arrivals if one.session}
    for source, name in newest.items():
        if session(connection, source) != name:
            connection.execute(
                "INSERT INTO sessions VALUES (?, ?)"
                " ON CONFLICT (source) DO UPDATE SET session = excluded.session",
                (source, name),
            )


def add_flags(
    connection: sqlite3.Connection, pairs: Iterable[tuple[int, Flag]], *, gone_too: bool = False
) -> None:
    """Write doubts beside readings; one already there stays.

    One for no reading is refused, or passed over where the reading may be `gone_too`.
    """
    there = " WHERE EXISTS (SELECT 1 FROM readings WHERE id = ?1)" if gone_too else ""
    connection.executemany(f"INSERT OR IGNORE INTO flags SELECT ?1, ?2{there}", pairs)


def restamp(connection: sqlite3.Connection, boot_id: str, step_s: float) -> Restamp | None:
    """Move the measured time of a boot's readings taken while its clock was not set.

    Only times that we gave ourselves move (measured when received): a device with a clock of
    its own keeps its time. The first time stays in `stamped_s`. None where nothing moved.
    """
    number = boot(connection, boot_id)
    first = connection.execute("SELECT after_reading_id FROM boots WHERE id = ?", (number,))
    cursor = connection.execute(
        "UPDATE readings SET stamped_s = measured_s, measured_s = measured_s + ?"
        " WHERE id > ? AND boot = ? AND NOT synced AND stamped_s IS NULL"
        " AND measured_s = received_s",
        (step_s, first.fetchone()[0], number),
    )
    return Restamp(boot_id, step_s, last_id(connection)) if cursor.rowcount else None


def restamped(connection: sqlite3.Connection, step: Restamp) -> Iterator[tuple[int, Reading]]:
    """The readings that a re-stamp moved, with their new times, in order of arrival."""
    known = connection.execute(
        "SELECT id, after_reading_id FROM boots WHERE boot_id = ?", (step.boot_id,)
    ).fetchone()
    if known is None:
        return
    condition = f"boot = {int(known[0])} AND stamped_s IS NOT NULL"
    yield from between(connection, known[1], step.last_reading_id, COLUMNS, condition)


def between(
    connection: sqlite3.Connection,
    after_id: int,
    last: int,
    columns: str = COLUMNS,
    condition: str = "TRUE",
) -> Iterator[tuple[int, Reading]]:
    """Readings with after_id < id <= last in order, in short read transactions."""
    while True:
        rows = connection.execute(
            f"SELECT id, {columns} FROM readings"
            f" WHERE id > ? AND id <= ? AND {condition} ORDER BY id LIMIT {_CHUNK}",
            (after_id, last),
        ).fetchall()
        for number, *row in rows:
            yield number, _reading(row)
        if len(rows) < _CHUNK:
            return
        after_id = rows[-1][0]


def with_flags(
    connection: sqlite3.Connection, from_s: float, until_s: float
) -> Iterator[tuple[int, tuple[Flag, ...], Reading]]:
    """(id, flags, reading) of what was received from a moment until before another, in order."""
    after_id = 0
    while True:
        rows = connection.execute(
            f"SELECT id, (SELECT group_concat(flag, '|') FROM flags WHERE reading_id = id),"
            f" {COLUMNS} FROM readings WHERE id > ? AND received_s >= ? AND received_s < ?"
            f" ORDER BY id LIMIT {_CHUNK}",
            (after_id, from_s, until_s),
        ).fetchall()
        for number, flags, *row in rows:
            found = tuple(Flag(flag) for flag in (flags or "").split("|") if flag)
            yield number, found, _reading(row)
        if len(rows) < _CHUNK:
            return
        after_id = rows[-1][0]


_TRUE_BUT_OLD = ", ".join(
    f"'{flag.value}'" for flag in (Flag.LATE, Flag.TIME_UNKNOWN, Flag.CLOCK_UNSET)
)


def heard(connection: sqlite3.Connection, after_id: int, last: int) -> list[Heard]:
    """What each probe's temperatures were in a stretch of the log."""
    rows = connection.execute(
        "SELECT probe, AVG(value) FILTER (WHERE id NOT IN (SELECT reading_id FROM flags)),"
        " MIN(value), MAX(value) FROM readings"
        " WHERE id > ? AND id <= ? AND quantity = 'temperature' AND probe != '' AND NOT EXISTS"
        f" (SELECT 1 FROM flags WHERE reading_id = id AND flag NOT IN ({_TRUE_BUT_OLD}))"
        " GROUP BY probe ORDER BY probe",
        (after_id, last),
    ).fetchall()
    return [Heard(*row) for row in rows]


def last_id(connection: sqlite3.Connection) -> int:
    """The id of the newest reading there ever was, 0 where there was none."""
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'readings'").fetchone()
    return 0 if row is None else int(row[0])


def quarantined(connection: sqlite3.Connection, limit: int) -> list[Quarantined]:
    """The newest refused bytes, newest first."""
    rows = connection.execute(
        "SELECT id, received_s, source, reason, detail, raw FROM quarantine"
        " ORDER BY id DESC LIMIT ?",
        (limit,),
    ).fetchall()
    return [Quarantined(*row) for row in rows]


def clean_text(text: str) -> str:
    """Text that SQLite can hold: a lone surrogate (JSON may send one) is spelled out."""
    if text.isascii():
        return text
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def boot(connection: sqlite3.Connection, boot_id: str) -> int:
    """The number of a boot, a new one where it was not heard of yet."""
    connection.execute(
        "INSERT INTO boots (boot_id, after_reading_id) VALUES (?, ?) ON CONFLICT DO NOTHING",
        (boot_id, last_id(connection)),
    )
    found = connection.execute("SELECT id FROM boots WHERE boot_id = ?", (boot_id,))
    return int(found.fetchone()[0])


def _sorted_out(arrival: Arrival) -> tuple[list[Reading], list[Refused]]:
    """A value that is not finite can't be stored as a number; it must not sink its batch."""
    sound, refused = [], list(arrival.decoded.refused)
    for reading in arrival.decoded.readings:
        if math.isfinite(reading.value):
            sound.append(_as_kept(reading, arrival.source))
            continue
        detail = f"{reading.probe or reading.bag} {reading.quantity}: {reading.value}"
        refused.append(Refused(arrival.source, Refusal.NOT_FINITE, detail, b"", arrival.received_s))
    return sound, refused


def _as_kept(one: Reading, source: str) -> Reading:
    """A reading as SQLite gives it back; nearly always it is that already."""
    measured_s = one.measured_s
    if measured_s is not None and not math.isfinite(measured_s):
        measured_s = None
    whole = isinstance(one.value, int)
    texts = [clean_text(text) for text in (one.source or source, one.probe, one.bag, one.raw_unit)]
    if texts == [one.source, one.probe, one.bag, one.raw_unit] and (
        measured_s == one.measured_s and not whole
    ):
        return one
    source, probe, bag, raw_unit = texts
    return replace(
        one,
        source=source,
        probe=probe,
        bag=bag,
        raw_unit=raw_unit,
        value=float(one.value),
        measured_s=measured_s,
    )


def _insert(connection: sqlite3.Connection, rows: Sequence[tuple[object, ...]]) -> None:
    done = 0
    for count in _ROWS_AT_ONCE:
        statement = _INSERT + ", ".join([_PLACES] * count)
        while done + count <= len(rows):
            connection.execute(statement, list(chain.from_iterable(rows[done : done + count])))
            done += count


def _row(arrival: Arrival, number: int, one: Reading) -> tuple[object, ...]:
    """The columns of `_INSERT`."""
    return (
        one.received_s,
        arrival.monotonic_s,
        number,
        arrival.synced,
        one.source,
        one.probe,
        one.bag,
        one.quantity.value,
        one.value,
        one.measured_s,
        one.raw,
        one.raw_unit,
        "|".join(one.marks),
    )


def _refuse(connection: sqlite3.Connection, one: Refused) -> None:
    source = clean_text(one.source)
    cursor = connection.execute(
        "INSERT INTO quarantine (received_s, source, reason, detail, raw) VALUES (?, ?, ?, ?, ?)",
        (one.received_s, source, one.reason, clean_text(one.detail), one.raw[:REFUSED_BYTES]),
    )
    connection.execute(
        "DELETE FROM quarantine WHERE id <= ?", ((cursor.lastrowid or 0) - QUARANTINE_KEPT,)
    )
    connection.execute(
        "INSERT INTO refusals VALUES (?, ?, 1, ?, ?) ON CONFLICT DO UPDATE"
        " SET count = count + 1, last_s = excluded.last_s",
        (source, one.reason, one.received_s, one.received_s),
    )


def _reading(row: Sequence[Any]) -> Reading:
    probe, quantity, value, measured_s, received_s, source, bag, raw, raw_unit, marks = row
    return Reading(
        probe=probe,
        quantity=Quantity(quantity),
        value=value,
        measured_s=measured_s,
        received_s=received_s,
        source=source,
        bag=bag,
        raw=raw,
        raw_unit=raw_unit,
        marks=tuple(Flag(mark) for mark in marks.split("|") if mark),
    )
