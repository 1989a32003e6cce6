"""The walk along the store's log that a mirror makes: lines of points, and the place after each."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import NamedTuple

from monitor.mirror.points import Points
from monitor.store import Reader, copied
from monitor.store.copied import CopiedReading, JournalRow
from monitor.store.journal import BAG, PROBE
from monitor.store.mirrored import Place


class Stride(NamedTuple):
    """One point (an empty line: none), and the place that is reached once it is copied."""

    line: str
    place: Place


class Walk:
    """Goes from a place towards the end of the log; the same log gives the same lines.

    A close's estimates, and readings that a step of the clock moved, share the place before them:
    whoever begins anew there sends all of them again, to the same moments.
    """

    def __init__(self, store: Reader, points: Points, place: Place) -> None:
        self._store = store
        self._points = points
        self._place = place
        self._points.begin(copied.book_at(store, place.journal_id))
        self._rows: Iterator[JournalRow] = iter(())
        self._row: JournalRow | None = None

    def all(self, settled: Callable[[], int]) -> Iterator[Stride]:
        """All there is now; `settled` tells the last reading whose flags are written.

        It is asked before the closes are: a frame closed later holds all it told.
        """
        yield from self._events()
        while True:
            last_id = settled()
            close = copied.next_frame(self._store, self._place.frame_id)
            if close is None:
                yield from self._readings(last_id)
                return
            yield from self._frame(close)
            yield from self._events()

    def until(self, to_s: float) -> Iterator[Stride]:
        """All up to the close of the frame that ends at or after a moment, without the events."""
        while (close := copied.next_frame(self._store, self._place.frame_id)) is not None:
            yield from self._frame(close)
            if close.end_s >= to_s:
                return

    def _frame(self, close: copied.CopiedFrame) -> Iterator[Stride]:
        """A frame whole: its readings, the book as it stood at its close, its estimates."""
        yield from self._readings(close.last_reading_id)
        while (row := self._next_row()) is not None and row.id <= close.last_journal_id:
            yield from self._take(row)
        for estimate, evidence in copied.estimates(self._store, close.end_s):
            yield self._stride(self._points.estimate(estimate, evidence))
        self._place = replace(self._place, frame_id=close.id)
        yield self._stride("")

    def _readings(self, last_id: int) -> Iterator[Stride]:
        """Readings up to one, and what the book said before each.

        What the book says meanwhile stands after them: it need not be asked for at each.
        """
        row = self._next_row()
        for one in copied.readings(self._store, self._place.reading_id, last_id):
            while row is not None and row.after_reading_id < one.id:
                yield from self._take(row)
                row = self._row
            self._place = replace(self._place, reading_id=one.id)
            yield self._stride("" if one.later else self._points.reading(one))

    def _next_row(self) -> JournalRow | None:
        """The next row of the journal, read ahead; asked again where there was none."""
        if self._row is None:
            self._rows = copied.journal_rows(self._store, self._place.journal_id)
            self._row = next(self._rows, None)
        return self._row

    def _take(self, row: JournalRow) -> Iterator[Stride]:
        self._row = next(self._rows, None)
        if row.kind in (BAG, PROBE):
            self._points.change(row)
        else:
            for one in self._restamped(row.body):
                yield self._stride(self._points.reading(one))
        self._place = replace(self._place, journal_id=row.id)
        yield self._stride("")

    def _restamped(self, body: str) -> Iterator[CopiedReading]:
        yield from copied.restamped(self._store, **json.loads(body))

    def _events(self) -> Iterator[Stride]:
        for one in copied.events(self._store, self._place.event_id):
            self._place = replace(self._place, event_id=one.id)
            yield self._stride(self._points.event(one))

    def _stride(self, line: str) -> Stride:
        return Stride(line, self._place)
