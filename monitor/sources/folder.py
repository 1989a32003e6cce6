"""A folder in the replay format: bags, probes, readings, walks and the book, as CSV.

RFC 4180, UTF-8, `.gz` allowed. A bad row is skipped, counted and named with its line; a
missing file or column is one clear error. Times are ISO 8601; without an offset they are
taken as UTC.
"""

from __future__ import annotations

import csv
import gzip
import io
import math
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, TextIO, TypeVar

from monitor.errors import FolderError
from monitor.sources.units import UnknownUnitError, to_si
from monitor.terms import BY_HAND
from monitor.values import Bag, BookEntry, Probe, Quantity, Reading

if TYPE_CHECKING:
    from _csv import Reader

T = TypeVar("T")

MAX_FIELD_CHARS, LONGEST_WHOLE = 4096, 12
KEPT_SKIPS = 1000
#: A row this far ahead of its neighbours carries a wrong time.
WRONG_TIME_S = 86400.0

BAG_COLUMNS = (
    "bag", "batch", "strain", "spawn_lot", "inoculated", "mass_kg", "rack", "shelf", "slot",
    "probe",
)  # fmt: skip
PROBE_COLUMNS = ("probe", "place", "rack", "shelf")
READING_COLUMNS = ("time", "probe", "quantity", "value", "unit")
WALK_COLUMNS = ("time", "bag", "value", "unit")
BOOK_COLUMNS = ("time", "bag", "event", "detail")
NAMED_EXTRAS = ("session", "sequence", "load", "recipe", "bag_kind", "person")
MASS_RANGE_KG = (0.02, 40.0)


@dataclass(frozen=True, slots=True)
class Skip:
    """A row that was left out, and why."""

    file: str
    line: int
    reason: str
    detail: str


@dataclass(slots=True)
class Skips:
    """Rows left out: all are counted by reason, the first thousand are kept whole."""

    rows: list[Skip] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)

    def add(self, file: str, line: int, reason: str, detail: str) -> None:
        self.counts[reason] = self.counts.get(reason, 0) + 1
        if len(self.rows) < KEPT_SKIPS:
            self.rows.append(Skip(file, line, reason, detail[:120]))


class RowError(ValueError):
    """One row can't be used; `reason` is the short name it is counted under."""

    def __init__(self, reason: str, detail: str) -> None:
        self.reason = reason
        super().__init__(detail)


@dataclass(slots=True)
class Folder:
    """What a folder says of the room; readings are streamed by `iter_readings`."""

    path: Path
    bags: dict[str, Bag]
    probes: dict[str, Probe]
    walks: list[Reading]
    book: list[BookEntry]
    skips: Skips


def parse_time_s(text: str) -> float:
    """Seconds since 1970 of an ISO 8601 time; RowError where it is none."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        says = f"{text!r} is no ISO 8601 time, such as 2026-03-09T10:05:00Z"
        raise RowError("bad time", says) from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return moment.timestamp()


def _number(text: str, name: str) -> float:
    try:
        value = float(text)
    except ValueError as error:
        says = f"{name} is {text!r}" + ("; write a point, such as 2.3" if "," in text else "")
        raise RowError("not a number", says) from error
    if not math.isfinite(value) or "_" in text:
        raise RowError("not a number", f"{name} is {text!r}")
    return value


def _whole(text: str, name: str) -> int | None:
    if not text.strip():
        return None
    try:
        return int(text if len(text) <= LONGEST_WHOLE else "")
    except ValueError as error:
        raise RowError("not a whole number", f"{name} is {text[:40]!r}") from error


def find_file(folder: Path, name: str) -> Path | None:
    """`name` or `name.gz` in the folder, or None."""
    with _readable(folder):
        for candidate in (folder / name, folder / f"{name}.gz"):
            if candidate.is_file():
                return candidate
    return None


@contextmanager
def _readable(path: Path) -> Iterator[None]:
    """Tell as FolderError what the system refuses, and what a packed file has lost."""
    try:
        yield
    except (OSError, EOFError, zlib.error) as error:
        what = f"can't be read: {getattr(error, 'strerror', None) or error}"
        raise FolderError(str(path), what, "copy it anew, for bagwatt's user to read") from error


def _open_text(path: Path) -> TextIO:
    if path.suffix == ".gz":
        return io.TextIOWrapper(
            gzip.open(path, "rb"), encoding="utf-8-sig", errors="replace", newline=""
        )
    return path.open(encoding="utf-8-sig", errors="replace", newline="")


def iter_rows(
    path: Path, columns: tuple[str, ...], skips: Skips
) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield (line, row) of a CSV file that has at least `columns`.

    Raises FolderError where a column is missing or the file is no text; rows with too few
    fields are skipped.
    """
    with _readable(path), _open_text(path) as handle:
        reader = csv.reader(handle)
        header = [name.strip() for name in next(reader, [])]
        missing = [name for name in columns if name not in header]
        if missing:
            raise FolderError(f"{path}:1", *_header_fault(header, missing, columns))
        while (fields := _next_row(reader, path, skips)) is not None:
            if not fields:
                continue
            if len(fields) != len(header):
                skips.add(path.name, reader.line_num, "wrong number of fields", ",".join(fields))
                continue
            yield reader.line_num, dict(zip(header, fields, strict=True))


def _header_fault(
    header: list[str], missing: list[str], columns: tuple[str, ...]
) -> tuple[str, str]:
    """What is wrong with the first line, and what to do; spreadsheets part by what they like."""
    for sign, name in ((";", "semicolons"), ("\t", "tabs")):
        if len(header) == 1 and sign in header[0]:
            return f"the columns are parted by {name}", "save it as CSV parted by commas"
    one = f"column {missing[0]} is missing"
    told = one if len(missing) == 1 else f"columns {', '.join(missing)} are missing"
    return told, f"the first line must name {','.join(columns)}"


def _next_row(reader: Reader, path: Path, skips: Skips) -> list[str] | None:
    """The next row; unreadable ones (NUL, a field over the limit) are skipped and counted."""
    while True:
        try:
            fields = next(reader, None)
        except csv.Error as error:
            skips.add(path.name, reader.line_num, "not CSV", str(error))
            continue
        if fields and (max(map(len, fields)) > MAX_FIELD_CHARS or "\0" in "".join(fields)):
            skips.add(path.name, reader.line_num, "not CSV", "a field is too long or has a NUL")
            continue
        return fields


def bag_of_row(row: dict[str, str], *, any_mass: bool = False) -> Bag:
    """A bag out of a row of bags.csv; RowError where it can't be. `any_mass`: others judge it."""
    if not row["bag"].strip():
        raise RowError("no bag code", "the bag column is empty")
    mass_kg = _number(row["mass_kg"], "mass_kg")
    if not any_mass and not MASS_RANGE_KG[0] <= mass_kg <= MASS_RANGE_KG[1]:
        raise RowError(
            "mass out of range",
            f"mass_kg is {mass_kg:g}, not {MASS_RANGE_KG[0]:g} to {MASS_RANGE_KG[1]:g}",
        )
    known = {*BAG_COLUMNS, *NAMED_EXTRAS}
    return Bag(
        bag=row["bag"].strip(),
        batch=row["batch"].strip(),
        strain=row["strain"].strip(),
        spawn_lot=row["spawn_lot"].strip(),
        inoculated_s=parse_time_s(row["inoculated"]),
        mass_kg=mass_kg,
        rack=row["rack"].strip(),
        shelf=_whole(row["shelf"], "shelf"),
        slot=_whole(row["slot"], "slot"),
        probe=row["probe"].strip(),
        session=row.get("session", "").strip(),
        sequence=_whole(row.get("sequence", ""), "sequence"),
        load=row.get("load", "").strip(),
        recipe=row.get("recipe", "").strip(),
        bag_kind=row.get("bag_kind", "").strip(),
        person=row.get("person", "").strip(),
        extra={name: text for name, text in row.items() if name not in known},
    )


def _probe(row: dict[str, str]) -> Probe:
    place = row["place"].strip()
    if not row["probe"].strip():
        raise RowError("no probe name", "the probe column is empty")
    if place != "air" and not (place.startswith("bag:") and place[4:]):
        raise RowError("unknown place", f"place is {place!r}, not `air` or `bag:CODE`")
    return Probe(
        probe=row["probe"].strip(),
        bag="" if place == "air" else place[4:],
        rack=row["rack"].strip(),
        shelf=_whole(row["shelf"], "shelf"),
    )


def _walk(row: dict[str, str]) -> Reading:
    at_s = parse_time_s(row["time"])
    raw = _number(row["value"], "value")
    return Reading(
        probe="",
        quantity=Quantity.TEMPERATURE,
        value=_si(raw, row["unit"], Quantity.TEMPERATURE),
        measured_s=at_s,
        received_s=parse_time_s(row.get("received") or row["time"]),
        source=BY_HAND,
        bag=row["bag"].strip(),
        raw=raw,
        raw_unit=row["unit"].strip(),
    )


def _entry(row: dict[str, str]) -> BookEntry:
    return BookEntry(
        parse_time_s(row["time"]), row["bag"].strip(), row["event"].strip(), row["detail"].strip()
    )


def _si(raw: float, unit: str, quantity: Quantity) -> float:
    try:
        return to_si(raw, unit.strip(), quantity)
    except UnknownUnitError as error:
        raise RowError("unknown unit", f"unit is {unit!r} for {quantity}") from error


def _made(
    path: Path, columns: tuple[str, ...], make: Callable[[dict[str, str]], T], skips: Skips
) -> Iterator[tuple[int, T]]:
    """(line, what it says) of every row that can be used."""
    for line, row in iter_rows(path, columns, skips):
        try:
            yield line, make(row)
        except RowError as error:
            skips.add(path.name, line, error.reason, str(error))


def _collect(
    path: Path | None, columns: tuple[str, ...], make: Callable[[dict[str, str]], T], skips: Skips
) -> list[T]:
    return [] if path is None else [item for _, item in _made(path, columns, make, skips)]


def _needed(folder: Path, name: str) -> Path:
    path = find_file(folder, name)
    if path is None:
        raise FolderError(
            str(folder), f"{name} is missing", "README.md, `Replay`, describes the folder"
        )
    return path


def _unique(
    items: Iterator[tuple[int, T]], key: Callable[[T], str], file: str, skips: Skips
) -> dict[str, T]:
    unique: dict[str, T] = {}
    lines: dict[str, int] = {}
    for line, item in items:
        name = key(item)
        if name in unique:
            told = f"{name} stands in line {lines[name]} too, which counts"
            skips.add(file, line, "named twice", told)
        else:
            unique[name], lines[name] = item, line
    return unique


def read_folder(path: Path) -> Folder:
    """Read bags, probes, walks and book of a folder.

    Raises FolderError where the folder, `bags.csv`, `probes.csv`, or a column is missing.
    """
    with _readable(path):
        if not path.is_dir():
            hint = "name a folder with bags.csv in it"
            raise FolderError(str(path), "there is no such folder", hint)
    skips = Skips()
    bags = _unique(
        _made(_needed(path, "bags.csv"), BAG_COLUMNS, bag_of_row, skips),
        lambda bag: bag.bag,
        "bags.csv",
        skips,
    )
    probes = _unique(
        _made(_needed(path, "probes.csv"), PROBE_COLUMNS, _probe, skips),
        lambda probe: probe.probe,
        "probes.csv",
        skips,
    )
    return Folder(
        path=path,
        bags=bags,
        probes=probes,
        walks=sorted(
            _collect(find_file(path, "walks.csv"), WALK_COLUMNS, _walk, skips),
            key=lambda r: r.received_s,
        ),
        book=sorted(
            _collect(find_file(path, "book.csv"), BOOK_COLUMNS, _entry, skips), key=lambda e: e.at_s
        ),
        skips=skips,
    )


def iter_readings(folder: Folder) -> Iterator[Reading]:
    """Stream `readings.csv` in arrival order, which is the file's.

    An optional column `received` gives the arrival. Without it a row arrived when it was
    measured; a row older than one before it came late, and one a day ahead of the row before
    and of the row after carries a wrong time: neither moves the arrival of the others.
    """
    path = _needed(folder.path, "readings.csv")
    arrived_s = -math.inf
    held: Reading | None = None
    for line, row in iter_rows(path, READING_COLUMNS, folder.skips):
        try:
            following = _reading(row)
        except RowError as error:
            folder.skips.add(path.name, line, error.reason, str(error))
            continue
        if held is not None:
            ahead = held.received_s > arrived_s + WRONG_TIME_S
            latest_s = min(held.received_s, following.received_s) if ahead else held.received_s
            arrived_s = max(arrived_s, latest_s)
            yield _arrived(held, arrived_s)
        held = following
    if held is not None:
        yield _arrived(held, max(arrived_s, held.received_s))


def _arrived(reading: Reading, at_s: float) -> Reading:
    return reading if reading.received_s == at_s else replace(reading, received_s=at_s)


def _reading(row: dict[str, str]) -> Reading:
    measured_s = parse_time_s(row["time"])
    received = row.get("received", "")
    try:
        quantity = Quantity(row["quantity"])
    except ValueError as error:
        raise RowError("unknown quantity", f"quantity is {row['quantity']!r}") from error
    raw = _number(row["value"], "value")
    return Reading(
        probe=row["probe"],
        quantity=quantity,
        value=_si(raw, row["unit"], quantity),
        measured_s=measured_s,
        received_s=parse_time_s(received) if received else measured_s,
        source="folder",
        raw=raw,
        raw_unit=row["unit"],
    )
