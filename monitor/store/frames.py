"""The log of closes, the hourly estimates, and the road's saved state."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

from monitor.store.codec import from_text, to_text
from monitor.store.records import Checkpoint, FrameClose
from monitor.values import Estimate, Evidence

CHECKPOINTS_KEPT = 2

BagEstimate = tuple[Estimate, Evidence | None]


def close(connection: sqlite3.Connection, frame: FrameClose) -> bool:
    """Write that a frame was closed; False when it was closed before, which then holds."""
    cursor = connection.execute(
        "INSERT INTO frames (end_s, closed_s, last_reading_id, last_command_id)"
        " VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
        (frame.end_s, frame.closed_s, frame.last_reading_id, frame.last_command_id),
    )
    return bool(cursor.rowcount)


def last(connection: sqlite3.Connection) -> FrameClose | None:
    """The newest close."""
    row = connection.execute(
        "SELECT end_s, closed_s, last_reading_id, last_command_id FROM frames"
        " ORDER BY id DESC LIMIT 1"
    ).fetchone()
    return None if row is None else FrameClose(*row)


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


def save_checkpoint(connection: sqlite3.Connection, end_s: float, text: str) -> None:
    """Keep the road's state at a frame's end, and the one before it."""
    connection.execute("DELETE FROM checkpoints WHERE end_s = ?", (end_s,))
    connection.execute("INSERT INTO checkpoints (end_s, state) VALUES (?, ?)", (end_s, text))
    connection.execute(
        "DELETE FROM checkpoints WHERE id NOT IN"
        f" (SELECT id FROM checkpoints ORDER BY id DESC LIMIT {CHECKPOINTS_KEPT})"
    )


def checkpoints(connection: sqlite3.Connection) -> list[Checkpoint]:
    """The saved states, the newest first."""
    rows = connection.execute("SELECT end_s, state FROM checkpoints ORDER BY id DESC").fetchall()
    return [Checkpoint(*row) for row in rows]
