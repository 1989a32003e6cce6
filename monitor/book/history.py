"""Any stretch of history as a folder for `replay`: as it was at its start, and what came then.

Bags and probes are written as they stood when the stretch began, or as they first came; moves
and probes hung or taken off are rows of book.csv, which `replay` follows. A reading that the
run took in its frame arrives when it was measured, so that it falls into the same frame again;
what the run flagged keeps its arrival. Readings that their source itself doubted (retained, no
known time, clock not set) are left out and counted.
"""

from __future__ import annotations

import gzip
import heapq
import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from monitor.book.csvfiles import (
    EVENT_COLUMNS,
    bag_header,
    bag_row,
    probe_row,
    write_csv,
)
from monitor.book.moments import utc_stamp
from monitor.errors import BookError
from monitor.sources.folder import PROBE_COLUMNS
from monitor.store import Reader, Version
from monitor.values import Bag, BookEntry, Flag, Probe, Quantity, Reading

#: Readings are put in order of their arrival within this much of one another.
HELD_S = 7200.0
_COUNTED_OUT = frozenset({Flag.TIME_UNKNOWN, Flag.CLOCK_UNSET, Flag.RETAINED})
_UNITS = {Quantity.TEMPERATURE: "Cel", Quantity.HUMIDITY: "%RH"}


@dataclass(slots=True)
class Written:
    """How much an export wrote, and what it left out."""

    bags: int = 0
    probes: int = 0
    readings: int = 0
    walks: int = 0
    entries: int = 0
    left_out: Counter[str] = field(default_factory=Counter)


def export_folder(store: Reader, out: Path, from_s: float, until_s: float) -> Written:
    """Write bags, probes, readings, walks and book of [from_s, until_s) into a new folder.

    Raises BookError where the folder is not empty or the stretch is.
    """
    if not from_s < until_s:
        raise BookError("--from", "must be before --to", "mend one of them")
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise BookError(str(out), "is there already", "name a new folder")
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        told = f"can't be made ({error.strerror})"
        raise BookError(str(out), told, "name a folder where this user may write") from error
    done = Written()
    bags = [one for one in _stood(store, "bag", from_s, until_s) if isinstance(one, Bag)]
    header = bag_header(bags)
    done.bags = write_csv(out / "bags.csv", header, (bag_row(bag, header) for bag in bags))
    probes = [one for one in _stood(store, "probe", from_s, until_s) if isinstance(one, Probe)]
    done.probes = write_csv(out / "probes.csv", PROBE_COLUMNS, map(probe_row, probes))
    entries = list(_entries(store, from_s, until_s))
    done.entries = write_csv(
        out / "book.csv",
        EVENT_COLUMNS,
        ([utc_stamp(one.at_s), one.bag, one.event, one.detail] for one in entries),
    )
    _write_readings(store, out, from_s, until_s, done)
    return done


def _stood(store: Reader, kind: str, from_s: float, until_s: float) -> list[Bag | Probe]:
    """Each thing as it stood at the start, or as it first came within the stretch."""
    first: dict[str, Version] = {}
    for version in store.history(kind):
        if version.at_s >= until_s:
            continue
        known = first.get(version.name)
        if version.at_s <= from_s or known is None or known.now is None:
            first[version.name] = version
    found = [version.now for version in first.values()]
    return [one for one in found if isinstance(one, Bag | Probe)]


def _entries(store: Reader, from_s: float, until_s: float) -> Iterator[BookEntry]:
    """What the road was told in the stretch; who had left before it leaves at its start."""
    last: dict[str, BookEntry] = {}
    from monitor.book.events import gone_after  # noqa: PLC0415

    events: dict[str, list[str]] = {}
    for one in store.entries():
        entry = one.entry
        if entry.at_s < from_s:
            events.setdefault(entry.bag, []).append(entry.event)
            if gone_after([entry.event]):
                last[entry.bag] = entry
    for bag, said in events.items():
        if gone_after(said):
            yield BookEntry(from_s, bag, last[bag].event, last[bag].detail)
    for one in store.entries():
        if from_s <= one.entry.at_s < until_s:
            yield one.entry


def _write_readings(store: Reader, out: Path, from_s: float, until_s: float, done: Written) -> None:
    hand: list[list[object]] = []
    with (
        (out / "readings.csv.gz").open("wb") as raw,
        gzip.GzipFile("", "wb", 6, raw, mtime=0) as packed,
        io.TextIOWrapper(packed, encoding="utf-8", newline="") as text,
    ):
        import csv  # noqa: PLC0415

        writer = csv.writer(text)
        writer.writerow(["time", "probe", "quantity", "value", "unit", "received"])
        for arrived_s, reading in _in_order(store, from_s, until_s, done):
            if reading.by_hand:
                hand.append(
                    [utc_stamp(reading.measured_s or 0.0), reading.bag, repr(reading.value), "Cel",
                     utc_stamp(arrived_s)]
                )  # fmt: skip
                continue
            done.readings += 1
            writer.writerow(
                [utc_stamp(reading.measured_s or 0.0), reading.probe, reading.quantity.value,
                 repr(reading.value), _UNITS[reading.quantity], utc_stamp(arrived_s)]
            )  # fmt: skip
    done.walks = write_csv(out / "walks.csv", ("time", "bag", "value", "unit", "received"), hand)


def _in_order(
    store: Reader, from_s: float, until_s: float, done: Written
) -> Iterator[tuple[float, Reading]]:
    """(arrival, reading) by arrival, as a replay is to see them."""
    held: list[tuple[float, int, Reading]] = []
    for number, flags, reading in store.readings_with_flags(from_s, until_s):
        doubted = [flag for flag in (*reading.marks, *flags) if flag in _COUNTED_OUT]
        if doubted or reading.measured_s is None:
            done.left_out[str(doubted[0]) if doubted else Flag.TIME_UNKNOWN] += 1
            continue
        late = Flag.LATE in flags or Flag.FUTURE in flags
        arrived_s = reading.received_s if late else reading.measured_s
        heapq.heappush(held, (arrived_s, number, reading))
        while held and held[0][0] < reading.received_s - HELD_S:
            earliest = heapq.heappop(held)
            yield earliest[0], earliest[2]
    while held:
        earliest = heapq.heappop(held)
        yield earliest[0], earliest[2]
