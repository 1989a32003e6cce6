"""A spare store for the time in which the one on the card can't be written.

It is an ordinary store on another medium or in a RAM file system, so that the outbox finds it by
name and a process that is killed finds it again; of memory a power cut leaves nothing. It begins
with what a run needs to go on, counts on where the card's store stopped, and is taken back into
it as soon as that works.
"""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.errors import StoreError
from monitor.store import book, frames, journal, readings
from monitor.store.database import translated, write
from monitor.store.reader import Reader
from monitor.store.records import FrameClose, LogItem, LogKind
from monitor.store.spare_place import Place, lying
from monitor.store.store import Store
from monitor.values import Bag, Probe

#: What a spare may take of memory.
MOST_BYTES = 64 * 2**20
_PAGE_BYTES = 4096
_NOTE = "spare"
_EVENTS_CARRIED = 5000
_BOOK = ("acts", "journal", "walks", "walk_steps")

#: What a run goes on with, in an order that suits the references between them.
_CARRIED = (
    *((table, "") for table in _BOOK),
    ("boots", ""),
    ("sessions", ""),
    ("seen", "ORDER BY id"),
    ("outbox", "WHERE state = 'waiting'"),
    (
        "events",
        f"WHERE id > (SELECT COALESCE(MAX(id), 0) FROM events) - {_EVENTS_CARRIED}"
        " OR alarm_id IN (SELECT alarm_id FROM standing)",
    ),
)


@dataclass(frozen=True, slots=True)
class Seed:
    """Where a run stands: its state after a close and all up to these ids, and its book."""

    close: FrameClose | None
    state: str
    last_reading_id: int
    last_journal_id: int
    bags: Sequence[Bag]
    probes: Sequence[Probe]


@dataclass(frozen=True, slots=True)
class TakenBack:
    """What a merge did: how far ids of readings moved, and what other processes wrote meanwhile."""

    readings: int = 0
    reading_shift: int = 0
    others: tuple[LogItem, ...] = ()


def remove(path: Path) -> None:
    """Delete a spare, or what a cut-off beginning left of it."""
    for suffix in ("-wal", "-shm", ""):
        path.with_name(path.name + suffix).unlink(missing_ok=True)


def begin(place: Place, old: Reader | None, seed: Seed, now_s: float) -> Store:
    """A new spare for a run that stands at `seed`. Raises StoreError."""
    try:
        remove(place.path)
    except OSError as error:
        raise StoreError(str(place.path), error.strerror or str(error), "free some room") from error
    spare = open_spare(place, now_s)
    with spare.transaction():
        plant(spare, old, seed, now_s)
        detail = {
            "id": uuid.uuid4().hex,
            "last_reading_id": seed.last_reading_id,
            "last_journal_id": journal.last_id(spare.connection),
        }
        spare.add_note(now_s, _NOTE, json.dumps(detail))
    return spare


def begun_s(store: Reader) -> float | None:
    """Since when a run goes on in this spare [s]; None in one cut off at its beginning."""
    with translated(store.path):
        query = "SELECT at_s FROM notes WHERE kind = ? ORDER BY id LIMIT 1"
        row = store.connection.execute(query, (_NOTE,)).fetchone()
    return None if row is None else float(row[0])


@dataclass(frozen=True, slots=True)
class Outage:
    """Since when the card is not written [s], and the spare in which the run goes on."""

    since_s: float
    path: Path


def outage(path: Path, medium: Path | None) -> Outage | None:
    """What a process that only asks must know of the card's store; None where that is written.

    A spare that was left by a watch that ended counts as well: the next one takes it back.
    """
    found = []
    for one in lying(path, medium):
        with suppress(StoreError), Reader.open_reader(one) as store:
            since_s = begun_s(store)
            if since_s is not None:
                found.append(Outage(since_s, one))
    return max(found, key=lambda one: one.since_s, default=None)


def newest(path: Path, medium: Path | None) -> Path:
    """The file that is written just now: the spare while the card fails, else the store."""
    failing = outage(path, medium)
    return path if failing is None else failing.path


def open_spare(place: Place, now_s: float) -> Store:
    """A spare that is there, or an empty one: it never takes more than its share of memory."""
    spare = Store.open(place.path, now_s, check=False)
    if not place.lasting:
        spare.connection.execute(f"PRAGMA max_page_count = {MOST_BYTES // _PAGE_BYTES}")
    return spare


def refusal(main: Reader, path: Path, now_s: float) -> str:
    """Why a spare can't be taken back into the card's store; empty where it can.

    A medium may be damaged, or come back after the run has gone on without it.
    """
    try:
        with Store.open(path, now_s) as store, translated(path):
            connection = store.connection
            place = _place(connection, "main")
            first_s = connection.execute("SELECT MIN(end_s) FROM frames").fetchone()[0]
    except StoreError as error:
        return str(error)
    with translated(main.path):
        taken = place is None or _is_taken(main.connection, place)
    last = main.last_frame()
    if taken or first_s is None or last is None:
        return ""
    return "the run has gone on without it" if last.end_s > first_s else ""


def _place(connection: sqlite3.Connection, schema: str) -> dict[str, Any] | None:
    """What a spare counts on from; None in one cut off at its beginning."""
    row = connection.execute(
        f"SELECT detail FROM {schema}.notes WHERE kind = ? ORDER BY id LIMIT 1", (_NOTE,)
    ).fetchone()
    return None if row is None else dict(json.loads(row[0]))


def _is_taken(connection: sqlite3.Connection, place: Mapping[str, Any]) -> bool:
    query = "SELECT 1 FROM spares WHERE id = ?"
    return connection.execute(query, (place["id"],)).fetchone() is not None


def plant(new: Store, old: Reader | None, seed: Seed, now_s: float) -> list[str]:
    """Let a run go on in a new, empty store; returns the tables that could not be carried over."""
    lost = []
    with new.transaction() as connection:
        for table, condition in _CARRIED:
            rows = _rows(connection, old, table, condition)
            if rows is None:
                lost.append(table)
            elif rows:
                marks = ", ".join("?" * len(rows[0]))
                connection.executemany(f"INSERT OR IGNORE INTO {table} VALUES ({marks})", rows)
        if "journal" in lost:
            pen = book.begin(connection, now_s, "", "carried over from a store that failed")
            for bag in seed.bags:
                pen.put(bag, now_s)
            for probe in seed.probes:
                pen.put(probe, now_s)
        _count_on(connection, "readings", seed.last_reading_id)
        _count_on(connection, "journal", seed.last_journal_id)
        if seed.close is not None:
            place = FrameClose(
                seed.close.end_s,
                seed.close.closed_s,
                seed.last_reading_id,
                journal.last_id(connection) if "journal" in lost else seed.last_journal_id,
                seed.close.house,
            )
            frames.close(connection, place)
            frames.save_checkpoint(connection, place.end_s, seed.state)
    return lost


def _rows(
    new: sqlite3.Connection, old: Reader | None, table: str, condition: str
) -> list[tuple[object, ...]] | None:
    """All rows of a table of the failing store, None where they can't be read."""
    columns = ", ".join(row[1] for row in new.execute(f"PRAGMA table_info({table})"))
    if old is None:
        return None
    try:
        return old.connection.execute(f"SELECT {columns} FROM {table} {condition}").fetchall()
    except sqlite3.Error:
        return None


def _count_on(connection: sqlite3.Connection, table: str, number: int) -> None:
    """Give the next row of a table an id after this number."""
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = ?", (table,)).fetchone()
    if row is None:
        connection.execute("INSERT INTO sqlite_sequence VALUES (?, ?)", (table, number))
    elif row[0] < number:
        connection.execute("UPDATE sqlite_sequence SET seq = ? WHERE name = ?", (number, table))


def take_back(main: Store, path: Path, now_s: float) -> TakenBack:
    """Take all that a spare has beyond the card's store into it, and delete the spare.

    One transaction: done again after a cut it adds nothing twice. Raises StoreError.
    """
    connection = main.connection
    with translated(main.path):
        connection.execute("ATTACH ? AS spare", (str(path),))
        try:
            with write(connection):
                taken = _merged(connection, main, now_s)
        finally:
            connection.execute("DETACH spare")
    remove(path)
    return taken


def _merged(connection: sqlite3.Connection, main: Reader, now_s: float) -> TakenBack:
    place = _place(connection, "spare")
    if place is None or _is_taken(connection, place):  # cut off while begun, or once taken back
        return TakenBack()
    last_reading_id, last_journal_id = place["last_reading_id"], place["last_journal_id"]
    if not connection.execute(
        "SELECT 1 FROM main.journal UNION SELECT 1 FROM main.frames"
    ).fetchone():
        # A new card, or a store begun anew: it takes over the counting and the whole book.
        _count_on(connection, "readings", last_reading_id)
        for table in _BOOK:
            connection.execute(f"INSERT INTO main.{table} SELECT * FROM spare.{table}")
        last_journal_id = journal.last_id(connection)
    twice = _written_twice(connection, last_reading_id)
    behind_id = _move_behind(connection, last_reading_id, last_journal_id)
    others, _, _ = main.log_since(last_reading_id, behind_id)
    taken = TakenBack(
        connection.execute("SELECT count(*) FROM spare.readings").fetchone()[0],
        readings.last_id(connection) - last_reading_id,
        tuple(one for one in others if one.kind is not LogKind.READING or one.id not in twice),
    )
    values = {
        "reading": last_reading_id,
        "journal": last_journal_id,
        "reading_shift": taken.reading_shift,
        "note": _NOTE,
    }
    values["acts"] = connection.execute("SELECT COALESCE(MAX(id), 0) FROM main.acts").fetchone()[0]
    known_s = connection.execute("SELECT COALESCE(MAX(end_s), 0) FROM main.frames").fetchone()[0]
    values["frame"] = connection.execute(f"SELECT {frames.NEWEST_ID}").fetchone()[0]
    for statement in _MERGE:
        connection.execute(statement, values)
    # The first one was saved between two closes: in the card's log it has no place.
    newest = connection.execute(
        "SELECT end_s, state FROM spare.checkpoints WHERE end_s > ? ORDER BY id DESC LIMIT 1",
        (known_s,),
    ).fetchone()
    if newest is not None:
        frames.put_checkpoint(connection, *newest)
    connection.execute("INSERT INTO spares VALUES (?, ?)", (place["id"], now_s))
    return taken


def _move_behind(connection: sqlite3.Connection, last_reading_id: int, last_journal_id: int) -> int:
    """Move what others wrote on the card meanwhile behind all of the spare's log, as the run
    takes it only now; the id after which it lies."""
    behind_id = connection.execute(
        "SELECT MAX(:last, COALESCE(MAX(id), 0)) FROM spare.journal", {"last": last_journal_id}
    ).fetchone()[0]
    query = "SELECT 1 FROM main.journal WHERE id > ?"
    if connection.execute(query, (last_journal_id,)).fetchone() is None:
        return int(behind_id)
    readings_id = (
        readings.last_id(connection)
        - last_reading_id
        + connection.execute(
            "SELECT MAX(:last, COALESCE(MAX(id), 0)) FROM spare.readings", {"last": last_reading_id}
        ).fetchone()[0]
    )
    moved = {"last": last_journal_id, "by": behind_id - last_journal_id, "readings": readings_id}
    guards = connection.execute(
        "SELECT name, sql FROM main.sqlite_master WHERE type = 'trigger' AND tbl_name = 'journal'"
    ).fetchall()
    # The journal is only added to but here, where rows move whole before anyone has taken them;
    # by way of negative ids, as a moved row may not meet one that is yet to move.
    for name, _ in guards:
        connection.execute(f"DROP TRIGGER main.{name}")
    connection.execute(
        "UPDATE main.journal SET id = -(id + :by), after_reading_id = :readings WHERE id > :last",
        moved,
    )
    connection.execute("UPDATE main.journal SET id = -id WHERE id < 0")
    for _, statement in guards:
        connection.execute(statement)
    newest_id = connection.execute("SELECT MAX(id) FROM main.journal").fetchone()[0]
    _count_on(connection, "journal", newest_id)
    return int(behind_id)


def _written_twice(connection: sqlite3.Connection, last_reading_id: int) -> set[int]:
    """Readings on the card whose commit was answered by an error, and which the spare has too.

    A sync that fails may have reached the disk all the same.
    """
    rows = connection.execute(
        "SELECT m.id FROM main.readings m JOIN spare.readings r"
        f" ON {_SAME} WHERE m.id > ? AND r.id > ?",
        (last_reading_id, last_reading_id),
    )
    return {row[0] for row in rows}


_SAME = " AND ".join(
    f"m.{column} IS r.{column}"
    for column in (
        "received_s",
        "monotonic_s",
        "source",
        "probe",
        "bag",
        "quantity",
        "value",
        "marks",
    )
)
_READING = (
    "received_s, monotonic_s, synced, source, probe, bag, quantity, value, measured_s,"
    " stamped_s, raw, raw_unit, marks"
)
_OUTBOX = (
    "message_id, recipient, title, body, urgency, created_s, due_s, expires_s, state, attempts,"
    " next_try_s, bundle, taken, last_answer, settled_s, attachment"
)
_EVENT = (
    "event_id, alarm_id, at_s, kind, subject, transition, urgency, reason, first_in, by, note,"
    " announced, facts"
)
_MERGE = (
    "INSERT OR IGNORE INTO main.boots (boot_id, after_reading_id)"
    " SELECT boot_id, after_reading_id + :reading_shift FROM spare.boots ORDER BY id",
    f"INSERT INTO main.readings (id, boot, {_READING})"
    " SELECT r.id + :reading_shift, (SELECT m.id FROM main.boots m JOIN spare.boots s"
    f" USING (boot_id) WHERE s.id = r.boot), {_READING}"
    " FROM spare.readings r WHERE r.id > :reading AND NOT EXISTS"
    f" (SELECT 1 FROM main.readings m WHERE m.id > :reading AND {_SAME}) ORDER BY r.id",
    "INSERT OR IGNORE INTO main.flags SELECT reading_id + :reading_shift, flag FROM spare.flags"
    " WHERE reading_id > :reading"
    " AND reading_id + :reading_shift IN (SELECT id FROM main.readings)",
    "INSERT INTO main.acts (id, at_s, by, what) SELECT id + :acts, at_s, by, what"
    " FROM spare.acts WHERE id IN (SELECT act FROM spare.journal WHERE id > :journal)",
    "INSERT INTO main.journal (id, at_s, kind, name, after_reading_id, body, act)"
    " SELECT id, at_s, kind, name, after_reading_id + :reading_shift, body, act + :acts"
    " FROM spare.journal WHERE id > :journal ORDER BY id",
    "INSERT OR IGNORE INTO main.frames (id, end_s, closed_s, last_reading_id, last_command_id,"
    " house) SELECT :frame + id, end_s, closed_s, last_reading_id + :reading_shift,"
    " last_command_id, house FROM spare.frames ORDER BY id",
    f"INSERT OR IGNORE INTO main.events ({_EVENT}) SELECT {_EVENT} FROM spare.events ORDER BY id",
    "INSERT OR IGNORE INTO main.estimates SELECT * FROM spare.estimates",
    "INSERT INTO main.quarantine (received_s, source, reason, detail, raw)"
    " SELECT received_s, source, reason, detail, raw FROM spare.quarantine ORDER BY id",
    "INSERT INTO main.refusals SELECT * FROM spare.refusals WHERE TRUE ON CONFLICT DO UPDATE"
    " SET count = count + excluded.count, last_s = excluded.last_s",
    "INSERT INTO main.notes (at_s, kind, detail) SELECT at_s, kind, detail FROM spare.notes"
    " WHERE kind != :note ORDER BY id",
    f"INSERT INTO main.outbox ({_OUTBOX}) SELECT {_OUTBOX} FROM spare.outbox WHERE TRUE ORDER BY id"
    " ON CONFLICT (message_id) DO UPDATE SET state = excluded.state,"
    " attempts = excluded.attempts, next_try_s = excluded.next_try_s, bundle = excluded.bundle,"
    " taken = excluded.taken, last_answer = excluded.last_answer,"
    " settled_s = excluded.settled_s WHERE outbox.state = 'waiting'",
    "INSERT INTO main.seen (source, keys) SELECT source, keys FROM spare.seen ORDER BY id",
    "INSERT INTO main.sessions SELECT * FROM spare.sessions WHERE TRUE"
    " ON CONFLICT (source) DO UPDATE SET session = excluded.session",
)
