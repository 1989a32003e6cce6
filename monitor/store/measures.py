"""The few counts that another program asks for again and again: each question is cheap."""

from __future__ import annotations

from dataclasses import dataclass

from monitor.store.database import translated
from monitor.store.reader import Reader


@dataclass(frozen=True, slots=True)
class Waiting:
    """A person's messages on their way, and since when the oldest overdue one is due."""

    count: int
    due_since_s: float | None


def readings_by_source(store: Reader, after_id: int, last_id: int) -> dict[str, int]:
    """How many readings of each source have after_id < id <= last_id."""
    with translated(store.path):
        rows = store.connection.execute(
            "SELECT source, count(*) FROM readings WHERE id > ? AND id <= ? GROUP BY source",
            (after_id, last_id),
        ).fetchall()
    return dict(rows)


def refusals(store: Reader) -> dict[tuple[str, str], int]:
    """How many messages were refused, by (source, reason)."""
    with translated(store.path):
        rows = store.connection.execute("SELECT source, reason, count FROM refusals").fetchall()
    return {(source, reason): count for source, reason, count in rows}


def messages_waiting(store: Reader, now_s: float) -> dict[str, Waiting]:
    """Messages not settled yet, by person; those for a later hour are waiting, not due."""
    with translated(store.path):
        rows = store.connection.execute(
            "SELECT recipient, count(*), MIN(CASE WHEN due_s <= ? THEN due_s END) FROM outbox"
            " WHERE state = 'waiting' GROUP BY recipient",
            (now_s,),
        ).fetchall()
    return {recipient: Waiting(count, due_s) for recipient, count, due_s in rows}


def messages_due(store: Reader, now_s: float) -> int:
    """How many messages should be with people by now and are not."""
    with translated(store.path):
        row = store.connection.execute(
            "SELECT count(*) FROM outbox WHERE state = 'waiting' AND due_s <= ?", (now_s,)
        ).fetchone()
    return int(row[0])


def last_received_s(store: Reader) -> float | None:
    """When the newest reading came; None where there is none."""
    with translated(store.path):
        row = store.connection.execute(
            "SELECT received_s FROM readings ORDER BY id DESC LIMIT 1"
        ).fetchone()
    return None if row is None else float(row[0])


def file_bytes(store: Reader) -> int:
    """The store's size on the disk [bytes], its write-ahead log with it."""
    wal = store.path.with_name(store.path.name + "-wal")
    return store.path.stat().st_size + (wal.stat().st_size if wal.exists() else 0)
