"""The log as a mirror copies it: plain rows, in order, each question one short transaction.

Readings, the changes of the book between them, and closes with their estimates come in the order
of the log. So what is said of a reading (which bag, which rack) follows from its place there, and
is the same whenever it is copied.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from monitor.store.codec import from_text
from monitor.store.database import translated
from monitor.store.frames import BagEstimate
from monitor.store.journal import BAG, PROBE, versions
from monitor.store.reader import Reader
from monitor.store.records import LogKind
from monitor.values import Estimate, Evidence, Facts, Flag

_PAGE = 500
#: Flags that put a reading's own time in doubt.
_UNTIMED = f"('{Flag.FUTURE.value}', '{Flag.TIME_UNKNOWN.value}')"


class CopiedReading(NamedTuple):
    """A reading as it is copied; `at_s` is when it came where its own time is in doubt.

    `later`: its clock was not set. It is copied once the clock is, with the time it then has.
    """

    id: int
    probe: str
    bag: str
    quantity: str
    value: float
    at_s: float
    doubted: bool
    later: bool


class JournalRow(NamedTuple):
    """A row of the journal that a copy must know of, and the last reading before it."""

    id: int
    after_reading_id: int
    kind: str
    name: str
    body: str


class CopiedFrame(NamedTuple):
    """A close, with its number and the end of the log then."""

    id: int
    end_s: float
    last_reading_id: int
    last_journal_id: int


class CopiedEvent(NamedTuple):
    """An alarm's event; `facts` are those it was raised with, as they name its place for good."""

    id: int
    at_s: float
    kind: str
    subject: str
    transition: str
    urgency: str
    facts: Facts


def book_at(store: Reader, journal_id: int) -> list[JournalRow]:
    """The versions of bags and probes that stood at a place of the journal."""
    with translated(store.path):
        found = versions(store.connection, f"id <= {int(journal_id)}")
    return [JournalRow(0, 0, kind, name, body) for (kind, name), body in found.items()]


def journal_rows(store: Reader, after_id: int) -> Iterator[JournalRow]:
    """Versions of bags and probes, and re-stamps, in order, in short read transactions."""
    while True:
        with translated(store.path):
            rows = store.connection.execute(
                "SELECT id, after_reading_id, kind, name, body FROM journal"
                f" WHERE id > ? AND kind IN (?, ?, ?) ORDER BY id LIMIT {_PAGE}",
                (after_id, BAG, PROBE, LogKind.RESTAMP),
            ).fetchall()
        yield from (JournalRow(*row) for row in rows)
        if len(rows) < _PAGE:
            return
        after_id = rows[-1][0]


def readings(
    store: Reader,
    after_id: int,
    last_id: int,
    condition: str = "TRUE",
    values: tuple[Any, ...] = (),
) -> Iterator[CopiedReading]:
    """Readings with after_id < id <= last_id, in order, in short read transactions."""
    while True:
        with translated(store.path):
            rows = store.connection.execute(
                "SELECT id, probe, bag, quantity, value, CASE WHEN measured_s IS NULL OR EXISTS"
                f" (SELECT 1 FROM flags WHERE reading_id = id AND flag IN {_UNTIMED})"
                " THEN received_s ELSE measured_s END, EXISTS (SELECT 1 FROM flags"
                f" WHERE reading_id = id AND flag != '{Flag.LATE.value}'),"
                " stamped_s IS NOT NULL OR (NOT synced AND measured_s = received_s)"
                f" FROM readings WHERE id > ? AND id <= ? AND {condition}"
                f" ORDER BY id LIMIT {_PAGE}",
                (after_id, last_id, *values),
            ).fetchall()
        for number, probe, bag, quantity, value, at_s, doubted, later in rows:
            yield CopiedReading(
                number, probe, bag, quantity, value, at_s, bool(doubted), bool(later)
            )
        if len(rows) < _PAGE:
            return
        after_id = rows[-1][0]


def restamped(
    store: Reader, boot_id: str, step_s: float, last_reading_id: int
) -> Iterator[CopiedReading]:
    """The readings a step of the clock moved, with their new times."""
    with translated(store.path):
        boot = store.connection.execute(
            "SELECT id, after_reading_id FROM boots WHERE boot_id = ?", (boot_id,)
        ).fetchone()
    if boot is not None:
        moved = "boot = ? AND abs(measured_s - stamped_s - ?) < 0.001"
        yield from readings(store, boot[1], last_reading_id, moved, (boot[0], step_s))


def next_frame(store: Reader, after_id: int) -> CopiedFrame | None:
    """The close after the one of that number."""
    with translated(store.path):
        row = store.connection.execute(
            "SELECT id, end_s, last_reading_id, last_command_id FROM frames WHERE id > ?"
            " ORDER BY id LIMIT 1",
            (after_id,),
        ).fetchone()
    return None if row is None else CopiedFrame(*row)


def estimates(store: Reader, at_s: float) -> Iterator[BagEstimate]:
    """What was thought of every bag at a close, in short read transactions."""
    bag = ""
    while True:
        with translated(store.path):
            rows = store.connection.execute(
                "SELECT bag, estimate, evidence FROM estimates WHERE at_s = ? AND bag > ?"
                f" ORDER BY bag LIMIT {_PAGE}",
                (at_s, bag),
            ).fetchall()
        for _, estimate, evidence in rows:
            yield (
                from_text(Estimate, estimate),
                None if evidence is None else from_text(Evidence, evidence),
            )
        if len(rows) < _PAGE:
            return
        bag = rows[-1][0]


def events(
    store: Reader, after_id: int, from_s: float = 0.0, to_s: float = float("inf")
) -> Iterator[CopiedEvent]:
    """Alarm events after one, perhaps of a stretch of time only, in short read transactions."""
    while True:
        with translated(store.path):
            rows = store.connection.execute(
                "SELECT id, at_s, kind, subject, transition, urgency, COALESCE((SELECT facts"
                " FROM events r WHERE r.alarm_id = e.alarm_id AND r.transition = 'raised'"
                " ORDER BY r.id LIMIT 1), facts) FROM events e"
                f" WHERE id > ? AND at_s >= ? AND at_s <= ? ORDER BY id LIMIT {_PAGE}",
                (after_id, from_s, to_s),
            ).fetchall()
        for number, at_s, kind, subject, transition, urgency, facts in rows:
            noun = from_text(Facts, facts)
            yield CopiedEvent(number, at_s, kind, subject, transition, urgency, noun)
        if len(rows) < _PAGE:
            return
        after_id = rows[-1][0]
