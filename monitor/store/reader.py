"""Everything that can be asked of the store; each question is one short read transaction."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from monitor.store import (
    alarms,
    aside,
    book,
    database,
    deliveries,
    frames,
    journal,
    readings,
    retention,
    spans,
)
from monitor.store.database import translated
from monitor.store.frames import BagEstimate
from monitor.store.records import (
    Act,
    Aside,
    Checkpoint,
    Counts,
    Entered,
    FrameClose,
    Heard,
    LogItem,
    Note,
    OutboxRow,
    Quarantined,
    Restamp,
    Rollup,
    StandingAlarm,
    Version,
    WalkStep,
)
from monitor.store.spans import SpanRow
from monitor.values import AlarmEvent, Bag, Flag, Probe, Reading


class Reader:
    """A store opened for questions. Use it in the thread that opened it."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection

    @classmethod
    def open_reader(cls, path: Path) -> Reader:
        """Open an existing store read-only; raises StoreError where there is none."""
        return Reader(path, database.open_for_reading(path))

    @property
    def connection(self) -> sqlite3.Connection:
        """For this package only."""
        return self._connection

    def close(self) -> None:
        with translated(self.path):
            self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def iter_log(self, after_frame_end_s: float | None = None) -> Iterator[LogItem]:
        """Readings, commands, entries, changes of the book, re-stamps and closes as they came.

        From the start, or from after the close of a frame. Readings carry the measured time
        as first stamped. KeyError when that frame was never closed.
        """
        with translated(self.path):
            yield from journal.iter_log(self._connection, after_frame_end_s)

    def journal_after(self, last_id: int) -> list[LogItem]:
        """Commands, entries and changes of the book since, perhaps by another process."""
        with translated(self.path):
            return journal.after(self._connection, last_id)

    def log_since(
        self, last_reading_id: int, last_journal_id: int
    ) -> tuple[Iterator[LogItem], int, int]:
        """What came after a place in the log, in order, and the place it then ends at."""
        with translated(self.path):
            return journal.since(self._connection, last_reading_id, last_journal_id)

    def readings_after(self, after_id: int, last_id: int) -> Iterator[tuple[int, Reading]]:
        """(id, reading) with after_id < id <= last_id, times re-stamped where they were."""
        with translated(self.path):
            yield from readings.between(self._connection, after_id, last_id)

    def readings_with_flags(
        self, from_s: float, until_s: float
    ) -> Iterator[tuple[int, tuple[Flag, ...], Reading]]:
        """(id, flags, reading) received from a moment until before another, in order."""
        with translated(self.path):
            yield from readings.with_flags(self._connection, from_s, until_s)

    def restamped(self, step: Restamp) -> Iterator[tuple[int, Reading]]:
        """(id, reading) of all that a re-stamp moved, with their new times."""
        with translated(self.path):
            yield from readings.restamped(self._connection, step)

    def span(self, from_s: float, to_s: float) -> tuple[int, int]:
        """(after, last): ids of the readings that arrived in a stretch of time."""
        with translated(self.path):
            return spans.span(self._connection, from_s, to_s)

    def span_rows(
        self, after_id: int, last_id: int, probes: Collection[str] | None = None
    ) -> Iterator[SpanRow]:
        """(id, probe, bag, quantity, value, measured_s) of those, perhaps of some probes only."""
        with translated(self.path):
            yield from spans.rows(self._connection, after_id, last_id, probes)

    def span_flags(self, after_id: int, last_id: int) -> dict[int, tuple[Flag, ...]]:
        """The doubts beside those readings, by id."""
        with translated(self.path):
            return spans.flags(self._connection, after_id, last_id)

    def session(self, source: str) -> str:
        """The broker session in which a source's messages were last counted; empty if none."""
        with translated(self.path):
            return readings.session(self._connection, source)

    def last_reading_id(self) -> int:
        with translated(self.path):
            return readings.last_id(self._connection)

    def flags_of(self, reading_id: int) -> tuple[Flag, ...]:
        """The doubts written beside a reading, in the order of `Flag`."""
        with translated(self.path):
            rows = self._connection.execute(
                "SELECT flag FROM flags WHERE reading_id = ?", (reading_id,)
            ).fetchall()
        found = {row[0] for row in rows}
        return tuple(flag for flag in Flag if flag in found)

    def book(self) -> tuple[dict[str, Bag], dict[str, Probe]]:
        """Bags and probes by name, as they stand."""
        with translated(self.path):
            return journal.book(self._connection)

    def current(self, kind: str) -> dict[str, Version]:
        """What the book holds of a kind (bag, probe, lot, load…) by name, with who wrote it."""
        with translated(self.path):
            return book.current(self._connection, kind)

    def history(self, kind: str, name: str | None = None) -> list[Version]:
        """Every version of one thing in the book, or of all of a kind, oldest first."""
        with translated(self.path):
            return book.history(self._connection, kind, name)

    def entries(self, bag: str | None = None) -> list[Entered]:
        """The entries of one bag, or all, by the time they tell of; struck ones are marked."""
        with translated(self.path):
            return book.entries(self._connection, bag)

    def acts(self, limit: int = 50) -> list[Act]:
        """What people wrote into the book, newest first."""
        with translated(self.path):
            return book.acts(self._connection, limit)

    def last_act(self, by: str | None = None) -> Act | None:
        """The newest act, perhaps of one person, that was not taken back."""
        with translated(self.path):
            return book.last_act(self._connection, by)

    def open_walk(self) -> tuple[int, float, str] | None:
        """Number, beginning and walker of a walk that was not ended."""
        with translated(self.path):
            return book.open_walk(self._connection)

    def walk_steps(self, walk: int) -> list[WalkStep]:
        """All that was done on a walk, in order."""
        with translated(self.path):
            return book.walk_steps(self._connection, walk)

    def mark(self) -> tuple[int, int, int]:
        """Newest ids of frames, events and journal: where they are the same, nothing happened."""
        with translated(self.path):
            frame, event, row = self._connection.execute(
                "SELECT (SELECT COALESCE(MAX(id), 0) FROM frames),"
                " (SELECT COALESCE(MAX(id), 0) FROM events),"
                " (SELECT COALESCE(MAX(id), 0) FROM journal)"
            ).fetchone()
        return frame, event, row

    def heard(self, after_id: int, last_id: int) -> list[Heard]:
        """What each probe's temperatures were between two places of the log."""
        with translated(self.path):
            return readings.heard(self._connection, after_id, last_id)

    def frames_back(self, count: int) -> FrameClose | None:
        """The close so many closes before the newest."""
        with translated(self.path):
            return frames.back(self._connection, count)

    def last_frame(self) -> FrameClose | None:
        with translated(self.path):
            return frames.last(self._connection)

    def frame_closed_at(self, end_s: float) -> FrameClose:
        """The close of the frame that ended then; KeyError when it never was closed."""
        with translated(self.path):
            return frames.at(self._connection, end_s)[1]

    def put_by_last(self) -> Aside | None:
        """What was put by last as the clock had been ahead; None where nothing ever was."""
        with translated(self.path):
            return aside.newest(self._connection)

    def times_put_by(self) -> int:
        with translated(self.path):
            return aside.count(self._connection)

    def closes_after(self, at_s: float) -> int:
        """How many frames that ended after a moment are closed."""
        with translated(self.path):
            return aside.closes_after(self._connection, at_s)

    def gap_at(self, at_s: float) -> float:
        """How far apart the closes before and after a moment lie [s]; 0 where one is missing."""
        with translated(self.path):
            return aside.gap_at(self._connection, at_s)

    def last_frame_pruned(self) -> FrameClose | None:
        """The newest close of which readings are gone; None where all are there."""
        with translated(self.path):
            return frames.last_pruned(self._connection)

    def load_checkpoint(self) -> Checkpoint | None:
        """The newest saved state; None where there is none."""
        return next(iter(self.checkpoints()), None)

    def checkpoints(self) -> list[Checkpoint]:
        """The saved states (three at most), the newest first."""
        with translated(self.path):
            return frames.checkpoints(self._connection)

    def estimates(
        self, since_s: float, until_s: float, bag: str | None = None
    ) -> list[BagEstimate]:
        """Hourly (estimate, evidence) with since_s <= at_s <= until_s by time, then bag."""
        with translated(self.path):
            return frames.estimates(self._connection, since_s, until_s, bag)

    def rollups(
        self, since_s: float, until_s: float, probes: Collection[str] | None = None
    ) -> list[Rollup]:
        """Ten minutes each of what was thrown away, with since_s <= at_s <= until_s."""
        with translated(self.path):
            return retention.rollups(self._connection, since_s, until_s, probes)

    def events(
        self, since_s: float = 0.0, limit: int = 10_000, until_s: float = math.inf
    ) -> list[AlarmEvent]:
        """Alarm events with since_s <= at_s <= until_s, oldest first; of too many the newest."""
        with translated(self.path):
            return alarms.since(self._connection, since_s, limit, until_s)

    def standing(self) -> list[StandingAlarm]:
        """Alarms that have not returned to normal, most urgent first, then oldest first."""
        with translated(self.path):
            return alarms.standing(self._connection)

    def alarm_history(self, alarm_id: str) -> list[AlarmEvent]:
        """Every event of one alarm, oldest first."""
        with translated(self.path):
            return alarms.history(self._connection, alarm_id)

    def quarantined(self, limit: int = 50) -> list[Quarantined]:
        """The newest refused bytes, newest first."""
        with translated(self.path):
            return readings.quarantined(self._connection, limit)

    def outbox(self, message_ids: Sequence[str] | None = None, limit: int = 200) -> list[OutboxRow]:
        """These messages, or the newest of all, in the order they were written."""
        with translated(self.path):
            return deliveries.listed(self._connection, message_ids, limit)

    def notes(self, since_s: float = 0.0, limit: int = 1000) -> list[Note]:
        """The monitor's own log, oldest first; of too many the newest."""
        with translated(self.path):
            rows = self._connection.execute(
                "SELECT id, at_s, kind, detail FROM notes WHERE at_s >= ? ORDER BY id DESC LIMIT ?",
                (since_s, limit),
            ).fetchall()
        return [Note(*row) for row in reversed(rows)]

    def backup(self, target: Path) -> None:
        """Write a consistent copy to a new file, mode 0600, while the store is in use.

        It is looked through and on the disk before it has its name. Raises StoreError.
        """
        with translated(target):
            database.copy_into(self._connection, target)

    def counts(self) -> Counts:
        """How much there is of everything."""
        with translated(self.path):
            return _counts(self._connection, self.path)


def _counts(connection: sqlite3.Connection, path: Path) -> Counts:
    def number(question: str) -> int:
        return int(connection.execute(question).fetchone()[0] or 0)

    def received(order: str) -> float | None:
        row = connection.execute(
            f"SELECT received_s FROM readings ORDER BY id {order} LIMIT 1"
        ).fetchone()
        return None if row is None else float(row[0])

    def tally(question: str) -> dict[str, int]:
        return dict(connection.execute(question).fetchall())

    refused = connection.execute("SELECT source, reason, count FROM refusals").fetchall()
    wal = path.with_name(path.name + "-wal")
    return Counts(
        bytes=path.stat().st_size + (wal.stat().st_size if wal.exists() else 0),
        # Ids have no holes: rows are only ever taken away from the old end.
        readings=number("SELECT MAX(id) - MIN(id) + 1 FROM readings"),
        first_received_s=received("ASC"),
        last_received_s=received("DESC"),
        frames=number("SELECT count(*) FROM frames"),
        events=number("SELECT count(*) FROM events"),
        standing=number("SELECT count(*) FROM standing"),
        refused={(source, reason): count for source, reason, count in refused},
        flags=tally("SELECT flag, count(*) FROM flags GROUP BY flag"),
        rollups=number("SELECT count(*) FROM rollups"),
        outbox=tally("SELECT state, count(*) FROM outbox GROUP BY state"),
    )
