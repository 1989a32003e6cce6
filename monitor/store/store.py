"""The store as its one writing thread sees it.

A method that writes is one transaction; `with store.transaction():` makes several one. A row
that has an id of its own (event, message, frame) may be written again and stays as it is, so
work that was cut off can simply be done again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
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
)
from monitor.store.book import Pen
from monitor.store.frames import BagEstimate
from monitor.store.reader import Reader
from monitor.store.records import Act, Arrival, FrameClose, LogItem, LogKind, OutboxRow, WalkStep
from monitor.values import (
    AlarmCommand,
    AlarmEvent,
    Bag,
    BookEntry,
    Condition,
    Delivery,
    Flag,
    Probe,
)

NOTES_KEPT = 10_000


class Store(Reader):
    """A store opened for writing. Use it in the thread that opened it."""

    @classmethod
    def open(cls, path: Path, now_s: float, *, check: bool = True) -> Self:
        """Open or create; raises StoreTooNew, StoreCorrupt or StoreError.

        Without `check` for a second connection: the first has looked for damage already.
        """
        return cls(path, database.open_database(path, now_s, check=check))

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All of what is written inside, or nothing of it."""
        with database.translated(self.path), database.write(self._connection):
            yield self._connection

    def add_batch(self, arrivals: Sequence[Arrival]) -> list[list[int]]:
        """Store arrivals; for each the ids of its new readings, none where it came before."""
        with self.transaction() as connection:
            return [[number for number, _ in one] for one in readings.add(connection, arrivals)]

    def append(
        self, arrivals: Sequence[Arrival], last_reading_id: int, last_journal_id: int
    ) -> list[LogItem] | None:
        """Store arrivals; what they put into the log, None where more than they came into it.

        The ids are of the last rows known of the log: whoever has followed it so far need not
        read again what it has just written.
        """
        with self.transaction() as connection:
            alone = journal.place(connection) == (last_reading_id, last_journal_id)
            stored = readings.add(connection, arrivals)
        if not alone:
            return None
        return [LogItem(LogKind.READING, *row) for one in stored for row in one]

    def add_flags(self, pairs: Iterable[tuple[int, Flag]], *, gone_too: bool = False) -> None:
        """Write (reading id, doubt) beside readings; `gone_too` passes over readings that are not
        there any longer, as in a store that took the place of a damaged one."""
        with self.transaction() as connection:
            readings.add_flags(connection, pairs, gone_too=gone_too)

    def restamp(self, boot_id: str, step_s: float, at_s: float) -> LogItem | None:
        """Re-stamp a boot's readings taken while not synced, once the clock stepped.

        Returns the row of the log, None when there was nothing to move.
        """
        with self.transaction() as connection:
            step = readings.restamp(connection, boot_id, step_s)
            if step is None:
                return None
            number = journal.add_restamp(connection, at_s, step)
            return journal.after(connection, number - 1)[0]

    def put_by(self, now_s: float, boot_id: str, offset_s: float) -> bool:
        """The clock was ahead: put by what it closed in its future; False where it did not.

        `offset_s` is what the wall clock now has over the monotonic one.
        """
        with self.transaction() as connection:
            return aside.put_by(connection, now_s, boot_id, offset_s)

    def add_command(self, command: AlarmCommand) -> int:
        """Write down what a person asks of an alarm; returns its place in the journal."""
        with self.transaction() as connection:
            return journal.add_command(connection, command)

    def add_entry(self, entry: BookEntry) -> int | None:
        """Write down a book entry; None when the very same is there already."""
        with self.transaction() as connection:
            return journal.add_entry(connection, entry)

    def add_book(self, at_s: float, bags: Iterable[Bag], probes: Iterable[Probe]) -> list[LogItem]:
        """Take what the room's folder says of the whole room; returns what that changed."""
        with self.transaction() as connection:
            return journal.add_book(connection, at_s, bags, probes)

    @contextmanager
    def act(self, at_s: float, by: str, what: str) -> Iterator[Pen]:
        """One act of one person in the book: all of what its pen writes, or nothing of it."""
        with self.transaction() as connection:
            yield book.begin(connection, at_s, by, what)

    def undo(self, act: Act, at_s: float, by: str) -> tuple[Pen, list[str]]:
        """Take an act back; returns the pen of the new act and the bags whose entries went.

        Call it inside a transaction where more belongs to it. Raises BookError.
        """
        with self.transaction() as connection:
            pen = book.begin(connection, at_s, by, f"undo: {act.what}", act.id)
            return pen, book.undo(connection, act, pen, at_s)

    def begin_walk(self, at_s: float, by: str) -> int:
        """A new walk; returns its number."""
        with self.transaction() as connection:
            return book.begin_walk(connection, at_s, by)

    def add_walk_step(self, walk: int, step: WalkStep) -> None:
        """What was done at one bag of a walk."""
        with self.transaction() as connection:
            book.add_walk_step(connection, walk, step)

    def end_walk(self, walk: int, at_s: float) -> None:
        """The walk is over."""
        with self.transaction() as connection:
            book.end_walk(connection, walk, at_s)

    def close_frame(
        self,
        end_s: float,
        closed_s: float,
        last_reading_id: int,
        last_command_id: int,
        *,
        events: Iterable[AlarmEvent] = (),
        messages: Iterable[Delivery] = (),
        estimates: Iterable[BagEstimate] = (),
        house: tuple[Condition, ...] = (),
    ) -> bool:
        """Write a close with all that came of it; False when that frame was closed before."""
        with self.transaction() as connection:
            new = frames.close(
                connection, FrameClose(end_s, closed_s, last_reading_id, last_command_id, house)
            )
            alarms.add(connection, events)
            deliveries.add(connection, messages)
            frames.add_estimates(connection, estimates)
            return new

    def add_events(self, events: Iterable[AlarmEvent], messages: Iterable[Delivery] = ()) -> None:
        """Write what came of a command between two closes."""
        with self.transaction() as connection:
            alarms.add(connection, events)
            deliveries.add(connection, messages)

    def save_checkpoint(self, end_s: float, text: str) -> int:
        """Keep the road's state at a frame's end, and the one before it; returns the bytes."""
        with self.transaction() as connection:
            return frames.save_checkpoint(connection, end_s, text)

    def add_note(self, at_s: float, kind: str, detail: str) -> None:
        """Write a line into the monitor's own log."""
        with self.transaction() as connection:
            cursor = connection.execute(
                "INSERT INTO notes (at_s, kind, detail) VALUES (?, ?, ?)", (at_s, kind, detail)
            )
            connection.execute(
                "DELETE FROM notes WHERE id <= ?", ((cursor.lastrowid or 0) - NOTES_KEPT,)
            )

    def prune(
        self, before_s: float, frames_kept: int = 0, limit: int = retention.READINGS_AT_ONCE
    ) -> int:
        """Roll up and drop old readings, drop settled messages and old estimates, a step at a time.

        Returns how many rows went; call again until 0. See `retention.step`.
        """
        with self.transaction() as connection:
            return retention.step(connection, before_s, frames_kept, limit)

    def recipients_waiting(self, now_s: float) -> list[str]:
        """Who has messages whose next try is due."""
        with database.translated(self.path):
            return deliveries.recipients_waiting(self._connection, now_s)

    def waiting(self, recipient: str, now_s: float, limit: int) -> list[OutboxRow]:
        """A person's messages whose next try is due, most urgent first, then oldest first."""
        with database.translated(self.path):
            return deliveries.waiting(self._connection, recipient, now_s, limit)

    def next_try_s(self, after_s: float) -> float | None:
        """The next moment after this one at which a try is due; None when there is none."""
        with database.translated(self.path):
            return deliveries.next_try_s(self._connection, after_s)

    def tie(self, message_ids: Sequence[str]) -> str:
        """Tie messages into one bundle that travels under the first one's id, for good."""
        with self.transaction() as connection:
            return deliveries.tie(connection, message_ids)

    def bundled(self, bundle: str) -> list[OutboxRow]:
        """The waiting messages of a bundle, oldest first."""
        with database.translated(self.path):
            return deliveries.bundled(self._connection, bundle)

    def record_attempt(
        self,
        message_ids: Sequence[str],
        *,
        state: str,
        next_try_s: float,
        answer: str,
        taken: frozenset[str],
        now_s: float,
    ) -> None:
        """Write what came of one attempt; a message settled before stays settled."""
        with self.transaction() as connection:
            deliveries.record(
                connection,
                message_ids,
                state=state,
                next_try_s=next_try_s,
                answer=answer,
                taken=taken,
                now_s=now_s,
            )

    def settle(self, message_ids: Sequence[str], state: str, why: str, now_s: float) -> None:
        """End messages that will not be tried again, with the reason."""
        with self.transaction() as connection:
            deliveries.settle(connection, message_ids, state, why, now_s)
