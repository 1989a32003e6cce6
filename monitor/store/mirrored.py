"""How far a mirror has copied the store, and what its server would not take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.store.database import translated
from monitor.store.reader import Reader
from monitor.store.store import Store

#: Refused points that are kept, the newest.
PARKED_KEPT = 10_000


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the log: all up to these ids is copied."""

    reading_id: int = 0
    journal_id: int = 0
    frame_id: int = 0
    event_id: int = 0


@dataclass(frozen=True, slots=True)
class Standing:
    """How the copy at one server stands."""

    place: Place
    sent: int = 0
    refused: int = 0
    lost: int = 0
    moved_s: float | None = None
    failing_s: float | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Parked:
    """A point the server refused, as a line, with its reason."""

    id: int
    at_s: float
    line: str
    reason: str


def standing(store: Reader, target: str) -> Standing | None:
    """How the copy at a server stands; None where none was begun."""
    with translated(store.path):
        row = store.connection.execute(
            "SELECT reading_id, journal_id, frame_id, event_id, sent, refused, lost, moved_s,"
            " failing_s, problem FROM mirrors WHERE target = ?",
            (target,),
        ).fetchone()
    return None if row is None else Standing(Place(*row[:4]), *row[4:])


def begin(store: Store, target: str) -> Standing:
    """How it stands; a copy not begun yet begins with the oldest reading there is."""
    with store.transaction() as connection:
        first = connection.execute("SELECT MIN(id) FROM readings").fetchone()[0]
        connection.execute(
            "INSERT OR IGNORE INTO mirrors (target, reading_id, journal_id, frame_id, event_id)"
            " VALUES (?, ?, 0, 0, 0)",
            (target, (first or 1) - 1),
        )
        found = standing(store, target)
    assert found is not None
    return found


def move(
    store: Store,
    target: str,
    place: Place,
    sent: int,
    refused: Sequence[tuple[str, str]],
    now_s: float,
) -> None:
    """The server has all up to this place, but for what it `refused`: (line, reason), parked."""
    with store.transaction() as connection:
        connection.execute(
            "UPDATE mirrors SET reading_id = ?, journal_id = ?, frame_id = ?, event_id = ?,"
            " sent = sent + ?, moved_s = ?, failing_s = NULL, problem = '' WHERE target = ?",
            (
                place.reading_id,
                place.journal_id,
                place.frame_id,
                place.event_id,
                sent,
                now_s,
                target,
            ),
        )
        if refused:
            park(store, target, refused, now_s)


def park(store: Store, target: str, refused: Sequence[tuple[str, str]], now_s: float) -> None:
    """Put by (line, reason); of too many the oldest go."""
    with store.transaction() as connection:
        connection.executemany(
            "INSERT INTO parked (target, at_s, line, reason) VALUES (?, ?, ?, ?)",
            ((target, now_s, line, reason) for line, reason in refused),
        )
        connection.execute(
            "DELETE FROM parked WHERE id <= (SELECT MAX(id) FROM parked) - ?", (PARKED_KEPT,)
        )
        connection.execute(
            "UPDATE mirrors SET refused = refused + ? WHERE target = ?", (len(refused), target)
        )


def fail(store: Store, target: str, problem: str, since_s: float) -> None:
    """The place does not move, and why."""
    with store.transaction() as connection:
        connection.execute(
            "UPDATE mirrors SET failing_s = ?, problem = ? WHERE target = ?",
            (since_s, problem, target),
        )


def skip_lost(store: Store, target: str, place: Place) -> tuple[Place, int]:
    """Pass over readings that were thrown away before they were copied; how many these were."""
    with store.transaction() as connection:
        first = connection.execute(
            "SELECT COALESCE((SELECT MIN(id) FROM readings),"
            " (SELECT seq + 1 FROM sqlite_sequence WHERE name = 'readings'), 1)"
        ).fetchone()[0]
        lost = max(0, first - 1 - place.reading_id)
        if lost:
            connection.execute(
                "UPDATE mirrors SET reading_id = ?, lost = lost + ? WHERE target = ?",
                (first - 1, lost, target),
            )
            place = Place(first - 1, place.journal_id, place.frame_id, place.event_id)
    return place, lost


def parked(store: Reader, target: str, limit: int, after_id: int = 0) -> list[Parked]:
    """Refused points of a server, oldest first."""
    with translated(store.path):
        rows = store.connection.execute(
            "SELECT id, at_s, line, reason FROM parked WHERE target = ? AND id > ?"
            " ORDER BY id LIMIT ?",
            (target, after_id, limit),
        ).fetchall()
    return [Parked(*row) for row in rows]


def unpark(store: Store, taken: Sequence[int], refused: Sequence[tuple[int, str]]) -> None:
    """Of parked points these were taken; (id, reason) were refused again."""
    with store.transaction() as connection:
        connection.executemany("DELETE FROM parked WHERE id = ?", ((one,) for one in taken))
        connection.executemany(
            "UPDATE parked SET reason = ? WHERE id = ?", ((why, one) for one, why in refused)
        )


def behind(store: Reader, place: Place) -> tuple[int, int, float | None]:
    """(readings, events) not copied yet, and when the oldest such reading came."""
    with translated(store.path):
        newest, event, since_s = store.connection.execute(
            "SELECT (SELECT COALESCE(MAX(id), 0) FROM readings),"
            " (SELECT COALESCE(MAX(id), 0) FROM events),"
            " (SELECT received_s FROM readings WHERE id > ? ORDER BY id LIMIT 1)",
            (place.reading_id,),
        ).fetchone()
    return max(0, newest - place.reading_id), max(0, event - place.event_id), since_s


def place_at(store: Reader, from_s: float) -> Place:
    """The place after the last close at or before a moment; the log's start where there is none."""
    with translated(store.path):
        row = store.connection.execute(
            "SELECT last_reading_id, last_command_id, id FROM frames WHERE end_s <= ?"
            " ORDER BY end_s DESC LIMIT 1",
            (from_s,),
        ).fetchone()
    return Place() if row is None else Place(*row)


def gone(store: Reader, after_id: int, to_s: float) -> int:
    """How many readings after a place and up to a moment were thrown away."""
    with translated(store.path):
        first, last = store.connection.execute(
            "SELECT (SELECT MIN(id) FROM readings), (SELECT last_reading_id FROM frames"
            " WHERE end_s >= ? ORDER BY end_s LIMIT 1)",
            (to_s,),
        ).fetchone()
    before = 0 if first is None else first - 1
    return max(0, min(before, before if last is None else last) - after_id)
