"""The grower's book inside the journal: acts, versions, entries, and taking back the last act.

An act is one command of one person. All it writes stands in one transaction, and what the
judge must know of it is in the same rows that the running `watch` reads.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any

from monitor.errors import BookError
from monitor.store import journal
from monitor.store.codec import from_text, to_text
from monitor.store.journal import BAG, GONE, PROBE
from monitor.store.records import Act, Entered, LogKind, Version, WalkStep
from monitor.values import Bag, BookEntry, Probe, Record

_NOT_VERSIONS = (LogKind.COMMAND, LogKind.ENTRY, LogKind.RESTAMP, LogKind.STRUCK)
_JOINED = (
    "SELECT j.id, j.at_s, j.kind, j.name, j.body, a.id, a.at_s, a.by, a.what, a.undoes"
    " FROM journal j LEFT JOIN acts a ON a.id = j.act"
)


class Pen:
    """Writes one act into the book; made by `Store.act`, which holds the transaction."""

    def __init__(self, connection: sqlite3.Connection, number: int) -> None:
        self._connection = connection
        self.number = number

    def put(self, noun: Bag | Probe | Record, at_s: float) -> None:
        """A new version of a bag, probe or record; nothing where it is as it was."""
        kind, name = _key(noun)
        text = to_text(noun)
        if _newest(self._connection, kind, name) != text:
            journal.append(self._connection, at_s, kind, name, text, self.number)

    def retire(self, noun: Bag | Probe | Record, at_s: float) -> None:
        """It leaves the book; its versions stay."""
        kind, name = _key(noun)
        journal.append(self._connection, at_s, kind, name, GONE, self.number)

    def enter(self, entry: BookEntry) -> int:
        """Something that was done to a bag or seen of it; returns the entry's id."""
        text = to_text(entry)
        return journal.append(
            self._connection, entry.at_s, LogKind.ENTRY, entry.bag, text, self.number
        )


def begin(
    connection: sqlite3.Connection, at_s: float, by: str, what: str, undoes: int | None = None
) -> Pen:
    """A new act."""
    cursor = connection.execute(
        "INSERT INTO acts (at_s, by, what, undoes) VALUES (?, ?, ?, ?)", (at_s, by, what, undoes)
    )
    return Pen(connection, cursor.lastrowid or 0)


def last_act(connection: sqlite3.Connection, by: str | None = None) -> Act | None:
    """The newest act that was not taken back and takes nothing back, perhaps of one person."""
    row = connection.execute(
        "SELECT id, at_s, by, what, undoes FROM acts WHERE undoes IS NULL"
        " AND (?1 IS NULL OR by = ?1) AND id NOT IN"
        " (SELECT undoes FROM acts WHERE undoes IS NOT NULL) ORDER BY id DESC LIMIT 1",
        (by,),
    ).fetchone()
    return None if row is None else Act(*row)


def undo(connection: sqlite3.Connection, act: Act, pen: Pen, at_s: float) -> list[str]:
    """Take an act back by new rows: the versions before it, its entries struck.

    Returns the bags whose entries were struck. Raises BookError where something it wrote was
    changed again since.
    """
    rows = connection.execute(
        "SELECT id, kind, name FROM journal WHERE act = ? ORDER BY id DESC", (act.id,)
    ).fetchall()
    bags: list[str] = []
    for number, kind, name in rows:
        if kind == LogKind.ENTRY:
            journal.append(connection, at_s, LogKind.STRUCK, name, str(number), pen.number)
            bags.append(name)
        elif kind not in _NOT_VERSIONS:
            _step_back(connection, (number, kind, name), act, pen, at_s)
    return list(dict.fromkeys(bags))


def _step_back(
    connection: sqlite3.Connection,
    row: tuple[int, str, str],
    act: Act,
    pen: Pen,
    at_s: float,
) -> None:
    number, kind, name = row
    later = connection.execute(
        "SELECT 1 FROM journal WHERE kind = ? AND name = ? AND id > ? AND act IS NOT ?"
        " AND (act IS NULL OR act NOT IN (SELECT undoes FROM acts WHERE undoes IS NOT NULL"
        " UNION SELECT id FROM acts WHERE undoes IS NOT NULL))",
        (kind, name, number, act.id),
    ).fetchone()
    if later:
        what = f"{kind} {name} was changed again since `{act.what}`"
        raise BookError("undo", what, "correct it by a new entry instead")
    before = connection.execute(
        "SELECT body FROM journal WHERE kind = ? AND name = ? AND id < ? ORDER BY id DESC LIMIT 1",
        (kind, name, number),
    ).fetchone()
    journal.append(connection, at_s, kind, name, before[0] if before else GONE, pen.number)


def acts(connection: sqlite3.Connection, limit: int) -> list[Act]:
    """The newest acts, newest first."""
    rows = connection.execute(
        "SELECT id, at_s, by, what, undoes FROM acts ORDER BY id DESC LIMIT ?", (limit,)
    ).fetchall()
    return [Act(*row) for row in rows]


def current(connection: sqlite3.Connection, kind: str) -> dict[str, Version]:
    """The newest version of everything of a kind that is in the book, by name."""
    rows = connection.execute(
        f"{_JOINED} WHERE j.id IN (SELECT MAX(id) FROM journal WHERE kind = ? GROUP BY name)"
        " AND j.body != ? ORDER BY j.name",
        (kind, GONE),
    ).fetchall()
    return {row[3]: _version(row) for row in rows}


def history(connection: sqlite3.Connection, kind: str, name: str | None = None) -> list[Version]:
    """Every version of one thing, or of all of a kind, oldest first."""
    rows = connection.execute(
        f"{_JOINED} WHERE j.kind = ? AND (?2 IS NULL OR j.name = ?2) ORDER BY j.id", (kind, name)
    ).fetchall()
    return [_version(row) for row in rows]


def entries(connection: sqlite3.Connection, bag: str | None = None) -> list[Entered]:
    """The entries of one bag, or all, by the time they tell of; struck ones are marked."""
    struck = {
        int(row[0])
        for row in connection.execute(
            "SELECT body FROM journal WHERE kind = ? AND (?2 IS NULL OR name = ?2)",
            (LogKind.STRUCK, bag),
        )
    }
    rows = connection.execute(
        f"{_JOINED} WHERE j.kind = ? AND (?2 IS NULL OR j.name = ?2) ORDER BY j.at_s, j.id",
        (LogKind.ENTRY, bag),
    ).fetchall()
    return [
        Entered(row[0], from_text(BookEntry, row[4]), _act(row), row[0] in struck) for row in rows
    ]


def begin_walk(connection: sqlite3.Connection, at_s: float, by: str) -> int:
    """A new walk; returns its number."""
    cursor = connection.execute("INSERT INTO walks (begun_s, by) VALUES (?, ?)", (at_s, by))
    return cursor.lastrowid or 0


def open_walk(connection: sqlite3.Connection) -> tuple[int, float, str] | None:
    """Number, beginning and walker of the newest walk if it was not ended."""
    row = connection.execute(
        "SELECT id, begun_s, by, ended_s FROM walks ORDER BY id DESC LIMIT 1"
    ).fetchone()
    return None if row is None or row[3] is not None else (row[0], row[1], row[2])


def end_walk(connection: sqlite3.Connection, walk: int, at_s: float) -> None:
    """The walk is over."""
    connection.execute("UPDATE walks SET ended_s = ? WHERE id = ?", (at_s, walk))


def add_walk_step(connection: sqlite3.Connection, walk: int, step: WalkStep) -> None:
    """What was done at one bag."""
    connection.execute(
        "INSERT INTO walk_steps (walk, at_s, bag, state, typed, why) VALUES (?, ?, ?, ?, ?, ?)",
        (walk, step.at_s, step.bag, step.state, step.typed, step.why),
    )


def walk_steps(connection: sqlite3.Connection, walk: int) -> list[WalkStep]:
    """All of a walk, in order."""
    rows = connection.execute(
        "SELECT at_s, bag, state, typed, why FROM walk_steps WHERE walk = ? ORDER BY id", (walk,)
    ).fetchall()
    return [WalkStep(*row) for row in rows]


def _newest(connection: sqlite3.Connection, kind: str, name: str) -> str | None:
    row = connection.execute(
        "SELECT body FROM journal WHERE kind = ? AND name = ? ORDER BY id DESC LIMIT 1",
        (kind, name),
    ).fetchone()
    return None if row is None else str(row[0])


def _key(noun: Bag | Probe | Record) -> tuple[str, str]:
    if isinstance(noun, Bag):
        return BAG, noun.bag
    if isinstance(noun, Probe):
        return PROBE, noun.probe
    return noun.kind, noun.name


def _version(row: Sequence[Any]) -> Version:
    number, at_s, kind, name, body = row[:5]
    noun: type[Bag] | type[Probe] | type[Record]
    noun = {BAG: Bag, PROBE: Probe}.get(kind, Record)
    return Version(number, at_s, name, None if body == GONE else from_text(noun, body), _act(row))


def _act(row: Sequence[Any]) -> Act | None:
    return None if row[5] is None else Act(*row[5:10])
