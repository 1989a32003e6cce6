"""A walk written into the store: each reading is committed before the next bag is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from monitor.book.codes import resolve
from monitor.book.csvfiles import read_csv
from monitor.book.moments import parse_moment
from monitor.book.standing import Standing
from monitor.book.walkround import (
    AGAIN,
    SKIPPED,
    TAKEN,
    Round,
    Thermometer,
    Typed,
    way_round,
)
from monitor.clock import Clock
from monitor.errors import BookError
from monitor.settings.schema import Settings
from monitor.sources.units import Unit, UnknownUnitError, unit_named
from monitor.store import Arrival, Reader, Store, WalkStep
from monitor.terms import BY_HAND
from monitor.values import Bag, Decoded, Flag, Quantity, Reading

_TOLD = 8


class WalkBook:
    """One walk: where it stands, and the store it writes into."""

    def __init__(
        self, store: Store, settings: Settings, clock: Clock, standing: Standing, by: str
    ) -> None:
        self._store = store
        self._clock = clock
        self._standing = standing
        self._by = by
        self.thermometer = Thermometer(settings)
        self.number = 0
        self.round = Round(())

    def begin(self, racks: Sequence[str] = ()) -> None:
        """A new walk; one this person left open is ended, its readings stay."""
        with self._store.transaction():
            left = self._store.open_walk()
            if left is not None and left[2] == self._by:
                self._store.end_walk(left[0], self._clock.wall_s())
            self.number = self._store.begin_walk(self._clock.wall_s(), self._by)
        self.round = Round(way_round(self._standing, racks))

    def resume(self, racks: Sequence[str] = ()) -> None:
        """The walk that was not ended goes on. Raises BookError where there is none."""
        left = self._store.open_walk()
        if left is None:
            raise BookError("--resume", "no walk was left open", "begin one: bagwatt walk")
        self.number = left[0]
        steps = self._store.walk_steps(self.number)
        self.round = Round(way_round(self._standing, racks), steps)
        shown_c: dict[str, float] = {}
        for one in steps:
            if one.state == TAKEN:
                with suppress(BookError):  # typed elsewhere, in another unit
                    shown_c[one.bag] = self.parse(one.typed).shown_c
        self.round.restore_readings(shown_c)

    def parse(self, text: str) -> Typed:
        """A reading as typed. Raises BookError with what was likely meant."""
        return self.thermometer.parse(text)

    def bag(self, typed: str) -> Bag:
        """The bag a typed or scanned code means; a scanned label may hold the page's address.

        Raises BookError where the book has none, or it left the room.
        """
        code = self._standing.code(typed.strip().rpartition("/bag/")[2])
        if self._standing.gone(code):
            back = f"where it is back: bagwatt bag returned {code}"
            raise BookError(code, "is no longer in the room", back)
        return self._standing.bag(code)

    def take(self, code: str, typed: Typed, *, again: bool = False) -> float | None:
        """Commit a reading, or put a suspicious one by to be read again at the end.

        Returns how far off it is [K] where it was put by; a second reading is always taken.
        """
        far_k = None if again else self.round.far_off(code, typed.shown_c)
        now_s = self._clock.wall_s()
        why = "" if far_k is None else f"{far_k:+.1f} K from the others"
        step = WalkStep(now_s, code, AGAIN if far_k is not None else TAKEN, str(typed), why)
        with self._store.transaction():
            if far_k is None:
                reading = self.thermometer.reading(code, typed, now_s, now_s)
                self._store.add_batch([self._arrival(reading)])
            self._store.add_walk_step(self.number, step)
        self.round.take(step, typed.shown_c if far_k is None else None)
        return far_k

    def skip(self, code: str) -> None:
        """Go on without this bag."""
        step = WalkStep(self._clock.wall_s(), code, SKIPPED)
        self._store.add_walk_step(self.number, step)
        self.round.take(step, None)

    def end(self) -> None:
        """The walk is over."""
        self._store.end_walk(self.number, self._clock.wall_s())

    def said_before(self, code: str) -> str:
        """What was typed of a bag that is to be read again."""
        steps = [one for one in self._store.walk_steps(self.number) if one.bag == code]
        return f"{steps[-1].typed}, {steps[-1].why}" if steps else ""

    def take_file(self, path: Path, zone: str) -> list[int]:
        """The readings a logging thermometer kept, all or none; returns how many were new.

        Columns time, bag, value, and unit where it differs from the setting. A file taken
        twice counts once. Raises BookError that names every bad line.
        """
        readings: list[Reading] = []
        faults: list[str] = []
        now_s = self._clock.wall_s()
        for line, row in read_csv(path, ("time", "bag", "value"), ("unit",)):
            try:
                readings.append(self._row(row, zone, now_s))
            except BookError as error:
                faults.append(f"line {line}: {error}")
        if faults:
            more = f"; and {len(faults) - _TOLD} more" if len(faults) > _TOLD else ""
            what = "; ".join(faults[:_TOLD]) + more
            raise BookError(str(path), what, "mend the file; nothing was written")
        arrivals = [self._arrival(one, named=True) for one in readings]
        return [len(ids) for ids in self._store.add_batch(arrivals)]

    def _row(self, row: dict[str, str], zone: str, now_s: float) -> Reading:
        code = resolve(row["bag"], self._standing.bags)
        at_s = parse_moment(row["time"], zone)
        if not self._standing.bag(code).inoculated_s <= at_s <= now_s + 300:
            raise BookError(row["time"], f"before {code} was inoculated, or to come", "")
        typed = self.parse(f"{row['value']} {_letter(row.get('unit', ''))}")
        return self.thermometer.reading(code, typed, at_s, now_s)

    def _arrival(self, reading: Reading, *, named: bool = False) -> Arrival:
        """`named`: the same row again is the same delivery."""
        key = f"{reading.measured_s}:{reading.bag}:{reading.raw}:{reading.raw_unit}"
        return arrival_by_hand(self._store, self._clock, reading, key if named else "")


def arrival_by_hand(store: Reader, clock: Clock, reading: Reading, key: str) -> Arrival:
    """A reading for the store, stored once under its key; marked where the clock is not set.

    Set as the daemon has it: or at least not behind its last frame.
    """
    last = store.last_frame()
    trusted = clock.synced() or last is None or clock.wall_s() >= last.closed_s
    if not trusted:
        reading = replace(reading, marks=(*reading.marks, Flag.CLOCK_UNSET))
    return Arrival(
        source=BY_HAND,
        dedup=key,
        received_s=reading.received_s,
        monotonic_s=clock.monotonic_s(),
        boot_id=clock.boot_id(),
        synced=trusted,
        decoded=Decoded((reading,)),
    )


def _letter(unit: str) -> str:
    """C or F of a unit as any source may name it; empty where none is named. Raises BookError."""
    if not unit.strip():
        return ""
    with suppress(UnknownUnitError):
        letter = {Unit.CEL: "C", Unit.DEG_F: "F"}.get(unit_named(unit, Quantity.TEMPERATURE))
        if letter:
            return letter
    raise BookError(unit, "is no unit of a thermometer", "write C or F")
