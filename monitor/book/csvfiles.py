"""CSV both ways: every kind of thing in the book out to a file, and in again, all or nothing.

A file that was exported carries the `version` of each row; a row changed by somebody else since
is refused when the file comes back.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from monitor.book.codes import suggestion
from monitor.book.events import BY_WORD, FACTS, EventKind, noted
from monitor.book.moments import utc_stamp
from monitor.book.records import FIELDS
from monitor.book.standing import Standing, without_blanks
from monitor.errors import BookError, FolderError
from monitor.sources.folder import (
    BAG_COLUMNS,
    NAMED_EXTRAS,
    PROBE_COLUMNS,
    RowError,
    Skips,
    bag_of_row,
    iter_rows,
)
from monitor.store import Entered, Version
from monitor.values import Bag, Probe, Record

VERSION = "version"
EVENT_COLUMNS = ("time", "bag", "event", "detail")
_TOLD = 8

Row = dict[str, str]
BY_EVENT: Mapping[str, EventKind] = {kind.event: kind for kind in BY_WORD.values()}


def write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> int:
    """Write a new file whole or not at all; returns its rows. Raises BookError if it is there."""
    if path.exists():
        raise BookError(str(path), "is there already", "name a new file")
    half = path.with_name(path.name + ".part")
    count = 0
    try:
        with half.open("w", encoding="utf-8", newline="") as handle:
            writer = csv.writer(handle)
            writer.writerow(header)
            for row in rows:
                writer.writerow(["" if cell is None else cell for cell in row])
                count += 1
            handle.flush()
            os.fsync(handle.fileno())
        half.replace(path)
    except OSError as error:
        half.unlink(missing_ok=True)
        raise BookError(
            str(path), f"can't be written ({error.strerror})", "see its folder"
        ) from error
    return count


def read_csv(path: Path, needed: Sequence[str], known: Iterable[str]) -> list[tuple[int, Row]]:
    """(line, row) of a file that has at least the `needed` columns.

    Raises BookError where the file or a column is wrong, with the column that was meant.
    """
    if path.is_dir():
        raise BookError(str(path), "is a folder", "name a CSV file in it")
    if not path.is_file():
        raise BookError(str(path), "there is no such file", "name a CSV file")
    skips = Skips()
    try:
        rows = list(iter_rows(path, tuple(needed), skips))
    except FolderError as error:
        meant = _meant(path, needed, known)
        raise BookError(error.where, error.what, f"{meant}{error.next_step}") from error
    if skips.rows:
        told = "; ".join(f"line {one.line}: {one.reason}" for one in skips.rows[:_TOLD])
        raise BookError(str(path), told, "mend the file; nothing was written")
    if not rows:
        raise BookError(str(path), "has no rows", "put a row under the header for each")
    return rows


def _meant(path: Path, needed: Sequence[str], known: Iterable[str]) -> str:
    """Which of the file's columns are slips of ours: `straln: did you mean strain?`."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as handle:
        header = [name.strip() for name in next(csv.reader(handle), [])]
    names = [*needed, *known]
    strange = [(name, suggestion(name, names)) for name in header if name and name not in names]
    return "".join(f"{name}: {hint} " for name, hint in strange if hint)


def _told_at(path: Path, faults: list[str]) -> None:
    if faults:
        more = f"; and {len(faults) - _TOLD} more" if len(faults) > _TOLD else ""
        raise BookError(
            str(path), "; ".join(faults[:_TOLD]) + more, "mend the file; nothing was written"
        )


def bags_in(path: Path) -> tuple[list[Bag], dict[str, int]]:
    """The bags of a file in the form of bags.csv, and the versions they were exported at.

    Raises BookError that names every bad line.
    """
    bags: list[Bag] = []
    faults: list[str] = []
    seen: dict[str, int] = {}
    for line, row in read_csv(path, BAG_COLUMNS, (*NAMED_EXTRAS, VERSION)):
        version = row.pop(VERSION, "")
        try:
            bag = bag_of_row({**row, **{k: "" for k in row if row[k] is None}}, any_mass=True)
        except RowError as error:
            faults.append(f"line {line}: {error}")
            continue
        if bag.bag in {one.bag for one in bags}:
            faults.append(f"line {line}: {bag.bag} is named twice")
        bags.append(without_blanks(bag))
        if version.isdecimal():
            seen[bag.bag] = int(version)
    _told_at(path, faults)
    return bags, seen


def records_in(path: Path, kind: str) -> tuple[list[Record], dict[str, int]]:
    """The records of a kind in a file, and the versions they were exported at."""
    if kind not in FIELDS:
        raise BookError(kind, "no such kind", f"kinds are {', '.join(FIELDS)}, bag, probe, event")
    records, seen = [], {}
    for _, row in read_csv(path, ("name",), (*FIELDS[kind], VERSION)):
        version, name = row.pop(VERSION, ""), row.pop("name").strip()
        for extra in ("written", "by"):
            row.pop(extra, None)
        records.append(Record(kind, name, row))
        if version.isdecimal():
            seen[name] = int(version)
    return records, seen


def events_in(path: Path) -> list[tuple[str, str, EventKind, dict[str, str | None], bool | None]]:
    """(time, bag, kind, facts, sure) of every row of a file of events."""
    found = []
    faults: list[str] = []
    for line, row in read_csv(path, ("time", "bag", "event"), (*FACTS, "sure", "detail")):
        kind = BY_EVENT.get(row["event"].strip()) or BY_WORD.get(row["event"].strip())
        if kind is None:
            faults.append(
                f"line {line}: no such event {row['event']}; {suggestion(row['event'], BY_EVENT)}"
            )
            continue
        facts: dict[str, str | None] = {name: row[name] for name in FACTS if row.get(name)}
        if row.get("detail") and not facts:
            facts["words"] = row["detail"]
        sure = {"surely": True, "maybe": False}.get(row.get("sure", ""))
        try:
            noted(kind, facts, sure)
        except BookError as error:
            told = str(error).replace("--", "")  # a column has the name of the command's option
            faults.append(f"line {line}: {told}")
            continue
        found.append((row["time"], row["bag"].strip(), kind, facts, sure))
    _told_at(path, faults)
    return found


def bag_header(bags: Iterable[Bag]) -> list[str]:
    """The columns of bags.csv with every extra column any of the bags has."""
    extras = dict.fromkeys(name for bag in bags for name in bag.extra)
    return [*BAG_COLUMNS, *NAMED_EXTRAS, *extras]


def bag_row(bag: Bag, header: Sequence[str]) -> list[object]:
    """A bag as a row of bags.csv."""
    fixed = {
        "inoculated": utc_stamp(bag.inoculated_s),
        "mass_kg": f"{bag.mass_kg:g}",
    }
    return [
        fixed.get(name, getattr(bag, name, None) if name not in bag.extra else bag.extra[name])
        for name in header
    ]


def probe_row(probe: Probe) -> list[object]:
    """A probe as a row of probes.csv."""
    place = f"bag:{probe.bag}" if probe.bag else "air"
    return [probe.probe, place, probe.rack, probe.shelf]


def write_bags(path: Path, versions: Iterable[Version]) -> int:
    """Bags with who wrote them, in the form of bags.csv."""
    found = [(one, one.now) for one in versions if isinstance(one.now, Bag)]
    header = bag_header(bag for _, bag in found)
    rows = [[*bag_row(bag, header), one.id] for one, bag in found]
    return write_csv(path, [*header, VERSION], rows)


def write_probes(path: Path, versions: Iterable[Version]) -> int:
    """Probes in the form of probes.csv."""
    rows = [probe_row(one.now) for one in versions if isinstance(one.now, Probe)]
    return write_csv(path, PROBE_COLUMNS, rows)


def write_records(path: Path, kind: str, standing: Standing) -> int:
    """The records of a kind with who wrote them and when."""
    names = list(FIELDS[kind])
    rows = [
        [
            name,
            *(version.now.fields.get(field, "") for field in names),
            utc_stamp(version.act.at_s) if version.act else "",
            version.act.by if version.act else "",
            version.id,
        ]
        for name, version in standing.records[kind].items()
        if isinstance(version.now, Record)
    ]
    return write_csv(path, ["name", *names, "written", "by", VERSION], rows)


def write_events(path: Path, entries: Iterable[Entered]) -> int:
    """The entries that stand, with their facts, who wrote them and when."""
    names = [*FACTS, "sure"]
    rows = [
        [
            utc_stamp(one.entry.at_s),
            one.entry.bag,
            one.entry.event,
            one.entry.detail,
            *(one.entry.facts.get(name, "") for name in names),
            utc_stamp(one.act.at_s) if one.act else "",
            one.act.by if one.act else "",
        ]
        for one in entries
        if not one.struck
    ]
    return write_csv(path, [*EVENT_COLUMNS, *names, "written", "by"], rows)
