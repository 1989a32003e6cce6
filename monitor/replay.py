"""Replay's wiring: a folder's rows onto the same road, alarms and estimates out as CSV."""

from __future__ import annotations

import csv
import gzip
import heapq
import io
import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import IO, Any, TextIO
from zoneinfo import ZoneInfo

from monitor.assemble import build_road, plan_of, with_offsets
from monitor.book.places import place_in
from monitor.clock import process_seconds
from monitor.errors import FolderError
from monitor.road import Plan
from monitor.runner import Item, Step, run, with_closes
from monitor.settings.load import load_settings, load_strains
from monitor.settings.schema import Settings
from monitor.sources.folder import Folder, find_file, iter_readings, read_folder
from monitor.terms import HOUR_S
from monitor.values import AlarmEvent, BookEntry, Estimate, Evidence, Probe, Reading
from monitor.words import one_line
from monitor.words.quantities import counted

ALARM_COLUMNS = (
    "time", "kind", "urgency", "transition", "bag", "probe", "cohort", "excess_k",
    "added_w_per_kg", "evidence", "reason", "message",
)  # fmt: skip
ESTIMATE_COLUMNS = (
    "time", "bag", "surface_c", "local_air_c", "excess_k", "heat_w_per_kg", "heat_low",
    "heat_high", "core_c", "core_low_c", "core_high_c", "evidence",
)  # fmt: skip
READINGS_BETWEEN_PROGRESS = 2000

Progress = Callable[[float], None]


def stamp(at_s: float) -> str:
    """ISO 8601 in UTC, whole seconds."""
    return datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.4f}"


@dataclass(slots=True)
class Tally:
    """What a replay counted."""

    readings: int = 0
    hand_readings: int = 0
    frames: int = 0
    book_entries: int = 0
    older_than_first: int = 0
    flags: Counter[str] = field(default_factory=Counter)
    alarms: Counter[str] = field(default_factory=Counter)
    first_s: float | None = None
    last_s: float | None = None


class Writer:
    """The sink of a replay: writes `alarms.csv` and `estimates.csv.gz` as the road goes."""

    def __init__(self, alarms: TextIO, estimates: TextIO, units: str, zone: tzinfo) -> None:
        self._alarms = csv.writer(alarms)
        self._estimates = csv.writer(estimates)
        self._units, self._zone = units, zone
        self.tally = Tally()
        self._alarms.writerow(ALARM_COLUMNS)
        self._estimates.writerow(ESTIMATE_COLUMNS)

    def __call__(self, step: Step) -> None:
        """Take what came of one item."""
        for event in step.events:
            self._alarms.writerow(self._alarm_row(event))
            self.tally.alarms[f"{event.kind} {event.transition}"] += 1
        if step.flagged is not None:
            self._count(step.flagged.reading, step.flagged.flags)
        elif isinstance(step.item, BookEntry):
            self.tally.book_entries += 1
        if step.outcome is not None:
            self.tally.frames += 1
            self.tally.last_s = step.outcome.frame.end_s
            if step.outcome.frame.end_s % HOUR_S == 0:
                for bag in sorted(step.outcome.verdicts):
                    self._estimates.writerow(_estimate_row(*step.outcome.verdicts[bag]))

    def _count(self, reading: Reading, flags: tuple[str, ...]) -> None:
        self.tally.readings += 1
        self.tally.hand_readings += reading.by_hand
        self.tally.flags.update(str(flag) for flag in flags)
        if self.tally.first_s is None:
            self.tally.first_s = reading.received_s
        if reading.measured_s is not None:
            self.tally.older_than_first += reading.measured_s < self.tally.first_s - HOUR_S

    def _alarm_row(self, event: AlarmEvent) -> list[str]:
        facts = event.facts
        return [
            stamp(event.at_s), event.kind, event.urgency, event.transition, facts.bag, facts.probe,
            facts.cohort, _number(facts.excess_k), _number(facts.added_w_per_kg),
            _number(facts.evidence), event.reason, one_line(event, self._units, self._zone),
        ]  # fmt: skip


def _estimate_row(estimate: Estimate, evidence: Evidence) -> list[str]:
    numbers = (
        estimate.surface_c, estimate.local_air_c, estimate.excess_k, estimate.heat_w_per_kg,
        estimate.heat_low_w_per_kg, estimate.heat_high_w_per_kg, estimate.core_c,
        estimate.core_low_c, estimate.core_high_c, evidence.hot,
    )  # fmt: skip
    return [stamp(estimate.at_s), estimate.bag, *(_number(value) for value in numbers)]


def settings_for(config_dir: Path | None) -> Settings | None:
    """What a replay needs of the settings: nothing outside the two files is asked for.

    A folder with only `strains.yaml` in it is enough. Raises SettingsError.
    """
    if config_dir is None:
        return None
    if (config_dir / "monitor.yaml").exists() or not (config_dir / "strains.yaml").exists():
        return load_settings(config_dir, {}, outside=False)
    strains = load_strains(config_dir)
    room = {"name": "replay", "folder": ".", "timezone": "UTC", "band_low": 15, "band_high": 27}
    bare = Settings.model_validate({"room": room, "channels": "none", "store": {"path": "none"}})
    return bare.model_copy(update={"strains": strains})


def merged(folder: Folder) -> Iterator[Reading | BookEntry]:
    """Readings, walks and book entries in the order in which they arrived."""
    return heapq.merge(
        folder.book,
        iter_readings(folder),
        folder.walks,
        key=lambda item: item.received_s if isinstance(item, Reading) else item.at_s,
    )


def followed(items: Iterable[Item], plan: Plan, settings: Settings | None = None) -> Iterator[Item]:
    """The items with a new plan before every entry that says a bag or its probe went elsewhere.

    `moved` with a place (`R1/2/7`) as its detail, `probe on` and `probe off` with the probe.
    """
    bags, probes = dict(plan.bags), dict(plan.probes)
    for item in items:
        if isinstance(item, BookEntry) and item.bag in bags:
            bag, place = bags[item.bag], place_in(item.detail)
            if item.event == "moved" and place is not None:
                bag = replace(bag, rack=place.rack, shelf=place.shelf, slot=place.slot)
            elif item.event in ("probe on", "probe off"):
                bag = replace(bag, probe=item.detail if item.event == "probe on" else "")
                probes.pop(item.detail, None)
            if bag != bags[item.bag]:
                bags[item.bag] = bag
                if bag.probe:
                    hung = {bag.probe: Probe(bag.probe, bag.bag, bag.rack, bag.shelf)}
                    probes |= with_offsets(hung, settings.probes) if settings else hung
                yield plan_of(bags, probes)
        yield item


class _Watched:
    """Bytes read of the readings file, told as a share of the whole."""

    def __init__(self, folder: Folder, progress: Progress) -> None:
        path = find_file(folder.path, "readings.csv")
        self._rows = path.stat().st_size / (5 if path.suffix == ".gz" else 40) if path else 0.0
        self._progress = progress

    def __call__(self, items: Iterator[Reading | BookEntry]) -> Iterator[Reading | BookEntry]:
        """Pass the items on; how many there are is a guess by the size of the file."""
        for number, item in enumerate(items):
            if number % READINGS_BETWEEN_PROGRESS == 0 and self._rows:
                self._progress(min(number / self._rows, 0.99))
            yield item


def replay_folder(
    folder_path: Path,
    out: Path,
    config_dir: Path | None = None,
    progress: Progress = lambda share: None,
) -> dict[str, Any]:
    """Replay a folder and write `alarms.csv`, `estimates.csv.gz` and `summary.json` into `out`.

    Returns the summary. Raises FolderError and SettingsError.
    """
    settings = settings_for(config_dir)
    began_s = process_seconds()
    folder = read_folder(folder_path)
    probes = with_offsets(folder.probes, settings.probes) if settings else folder.probes
    plan = plan_of(folder.bags, probes)
    road = build_road(settings, plan)
    frame_s = settings.frames.length_s if settings else 600.0
    units = settings.room.units if settings else "C"
    zone: tzinfo = ZoneInfo(settings.room.timezone) if settings else UTC
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        told = f"can't be made a folder ({error.strerror})"
        raise FolderError(str(out), told, "name one where this user may write") from error
    with ExitStack() as stack:
        alarms = stack.enter_context((out / "alarms.csv").open("w", encoding="utf-8", newline=""))
        writer = Writer(alarms, _gzip_text(stack, out / "estimates.csv.gz"), units, zone)
        watched = _Watched(folder, progress)
        items = with_closes(watched(merged(folder)), frame_s)
        run(road, followed(items, plan, settings), writer)
    summary = _summary(folder, writer.tally, process_seconds() - began_s)
    summary["notes"] = _notes(folder, settings, writer.tally)
    text = json.dumps(summary, ensure_ascii=False, indent=2)
    (out / "summary.json").write_text(text + "\n", encoding="utf-8")
    return summary


def _gzip_text(stack: ExitStack, path: Path) -> TextIO:
    """A compressed text file without a time in its header, so that equal runs give equal files."""
    raw: IO[bytes] = stack.enter_context(path.open("wb"))
    packed = stack.enter_context(gzip.GzipFile("", "wb", 6, raw, mtime=0))
    return stack.enter_context(io.TextIOWrapper(packed, encoding="utf-8", newline=""))


def _summary(folder: Folder, tally: Tally, seconds: float) -> dict[str, Any]:
    return {
        "folder": folder.path.name,
        "bags": len(folder.bags),
        "probes": len(folder.probes),
        "cohorts": len({bag.cohort for bag in folder.bags.values()}),
        "from": None if tally.first_s is None else stamp(tally.first_s),
        "to": None if tally.last_s is None else stamp(tally.last_s),
        "readings": tally.readings,
        "hand_readings": tally.hand_readings,
        "book_entries": tally.book_entries,
        "frames": tally.frames,
        "flags": dict(sorted(tally.flags.items())),
        "alarms": dict(sorted(tally.alarms.items())),
        "skipped": dict(sorted(folder.skips.counts.items())),
        "skipped_rows": [
            {"file": row.file, "line": row.line, "reason": row.reason, "detail": row.detail}
            for row in folder.skips.rows
        ],
        "seconds": round(seconds, 3),
        "readings_per_second": round(tally.readings / seconds) if seconds > 0 else None,
    }


def _notes(folder: Folder, settings: Settings | None, tally: Tally) -> list[str]:
    strains = sorted({bag.strain for bag in folder.bags.values()})
    unknown = [
        name for name in strains if settings is None or not settings.strains.lookup(name).known
    ]
    notes = [
        f"strain {name} is not in the settings: judged by the generic prior" for name in unknown
    ]
    if not tally.readings:
        notes.append("there was no reading to judge by")
    if tally.older_than_first:
        readings = counted(tally.older_than_first, "reading is", "readings are")
        notes.append(
            f"{readings} over an hour older than the first row of readings.csv: sort it by time, "
            "the oldest first"
        )
    if late := tally.flags.get("late", 0):
        readings = counted(late, "reading", "readings")
        notes.append(f"{readings} came after their frame was closed: stored, not judged")
    return notes
