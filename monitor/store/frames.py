"""The log of closes, the hourly estimates, and the road's saved state."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from monitor.store.codec import conditions_from_text, conditions_to_text, from_text, to_text
from monitor.store.records import Checkpoint, FrameClose
from monitor.values import Estimate, Evidence

CHECKPOINTS_KEPT = 2
#: Beside the newest, the last one before a leap of the frames: should the clock have been wrong
#: after it, the run is rebuilt from there. It is kept for so many frames.
_BEFORE_A_LEAP = """
SELECT id FROM checkpoints WHERE end_s <= (
    SELECT MAX(before_s) FROM (
        SELECT end_s, LAG(end_s) OVER (ORDER BY id) AS before_s FROM frames
        WHERE id > (SELECT MAX(id) FROM frames) - 1000
    ) WHERE end_s - before_s > 3600
) ORDER BY id DESC LIMIT 1
"""
_COLUMNS = "end_s, closed_s, last_reading_id, last_command_id, house"

#: The highest number a frame ever had: those set aside keep theirs.
NEWEST_ID = (
    "MAX((SELECT COALESCE(MAX(id), 0) FROM frames),"
    " (SELECT COALESCE(MAX(last_frame_id), 0) FROM set_aside))"
)

BagEstimate = tuple[Estimate, Evidence | None]


def close(connection: sqlite3.Connection, frame: FrameClose) -> bool:
    """Write that a frame was closed; False when it was closed before, which then holds."""
    cursor = connection.execute(
        f"INSERT INTO frames (id, {_COLUMNS}) VALUES ({NEWEST_ID} + 1, ?, ?, ?, ?, ?)"
        " ON CONFLICT DO NOTHING",
        (
            frame.end_s,
            frame.closed_s,
            frame.last_reading_id,
            frame.last_command_id,
            conditions_to_text(frame.house),
        ),
    )
    return bool(cursor.rowcount)


def last(connection: sqlite3.Connection) -> FrameClose | None:
    """The newest close."""
    return back(connection, 0)


def back(connection: sqlite3.Connection, count: int) -> FrameClose | None:
    """The close so many closes before the newest."""
    row = connection.execute(
        f"SELECT {_COLUMNS} FROM frames ORDER BY id DESC LIMIT 1 OFFSET ?", (count,)
    ).fetchone()
    return None if row is None else _close(row)


def last_pruned(connection: sqlite3.Connection) -> FrameClose | None:
    """The newest close before the first reading that is kept; None where none is gone."""
    first = connection.execute(
        "SELECT COALESCE((SELECT MIN(id) FROM readings),"
        " (SELECT seq + 1 FROM sqlite_sequence WHERE name = 'readings'), 1)"
    ).fetchone()[0]
    row = connection.execute(
        f"SELECT {_COLUMNS} FROM frames WHERE last_reading_id < ? ORDER BY id DESC LIMIT 1",
        (first,),
    ).fetchone()
    return None if first == 1 or row is None else _close(row)


def at(connection: sqlite3.Connection, end_s: float) -> tuple[int, FrameClose]:
    """The close of a frame and its number; KeyError when it never was closed."""
    row = connection.execute(
        f"SELECT id, {_COLUMNS} FROM frames WHERE end_s = ?", (end_s,)
    ).fetchone()
    if row is None:
        raise KeyError(f"no frame was closed at {end_s}")
    return row[0], _close(row[1:])


def after(connection: sqlite3.Connection, number: int) -> Iterator[tuple[int, FrameClose]]:
    """The closes after the one of that number, in order."""
    while True:
        row = connection.execute(
            f"SELECT id, {_COLUMNS} FROM frames WHERE id > ? ORDER BY id LIMIT 1", (number,)
        ).fetchone()
        if row is None:
            return
        number = row[0]
        yield number, _close(row[1:])


def _close(row: Sequence[Any]) -> FrameClose:
    end_s, closed_s, last_reading_id, last_command_id, house = row
    return FrameClose(
        end_s, closed_s, last_reading_id, last_command_id, conditions_from_text(house)
    )


def add_estimates(connection: sqlite3.Connection, estimates: Iterable[BagEstimate]) -> None:
    """Write what is thought of bags; the first word on a bag at a moment stays."""
    connection.executemany(
        "INSERT INTO estimates VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
        (
            (one.at_s, one.bag, to_text(one), None if evidence is None else to_text(evidence))
            for one, evidence in estimates
        ),
    )


def estimates(
    connection: sqlite3.Connection, since_s: float, until_s: float, bag: str | None
) -> list[BagEstimate]:
    """Estimates with since_s <= at_s <= until_s by time, then bag; of one bag or of all."""
    condition, values = ("", ()) if bag is None else (" AND bag = ?", (bag,))
    rows = connection.execute(
        "SELECT estimate, evidence FROM estimates WHERE at_s >= ? AND at_s <= ?"
        f"{condition} ORDER BY at_s, bag",
        (since_s, until_s, *values),
    ).fetchall()
    return [
        (from_text(Estimate, one), None if evidence is None else from_text(Evidence, evidence))
        for one, evidence in rows
    ]


def save_checkpoint(connection: sqlite3.Connection, end_s: float, text: str) -> int:
    """Keep the road's state at a frame's end, and those before it; returns the bytes written."""
    # The level is the fastest: a Pi does it in a tenth of a second for 500 bags.
    state = zlib.compress(text.encode("utf-8"), level=1)
    put_checkpoint(connection, end_s, state)
    return len(state)


def put_checkpoint(connection: sqlite3.Connection, end_s: float, state: bytes) -> None:
    """Keep a state that is compressed already."""
    connection.execute("DELETE FROM checkpoints WHERE end_s = ?", (end_s,))
    connection.execute("INSERT INTO checkpoints (end_s, state) VALUES (?, ?)", (end_s, state))
    connection.execute(
        "DELETE FROM checkpoints WHERE id NOT IN"
        f" (SELECT id FROM checkpoints ORDER BY id DESC LIMIT {CHECKPOINTS_KEPT})"
        f" AND id NOT IN ({_BEFORE_A_LEAP})"
    )


def checkpoints(connection: sqlite3.Connection) -> list[Checkpoint]:
    """The saved states, the newest first."""
    rows = connection.execute("SELECT end_s, state FROM checkpoints ORDER BY id DESC").fetchall()
    return [
        # The first stores held plain text.
        Checkpoint(end_s, state if isinstance(state, str) else zlib.decompress(state).decode())
        for end_s, state in rows
    ]
