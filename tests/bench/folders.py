"""Reads a folder with its truth for the bench, on its own and not by the product's reader."""

from __future__ import annotations

import csv
import gzip
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench.scoring import PROBE_FAULTS, BagTruth, Call

FRAME_S = 600.0


@lru_cache(maxsize=4096)
def seconds(stamp: str) -> float:
    """RFC 3339 to seconds since 1970."""
    return datetime.fromisoformat(stamp).timestamp()


def rows(path: Path) -> Iterator[dict[str, str]]:
    if path.suffix == ".gz":
        with gzip.open(path, "rt", newline="", encoding="utf-8") as file:
            yield from csv.DictReader(file)
    else:
        with path.open(newline="", encoding="utf-8") as file:
            yield from csv.DictReader(file)


@dataclass(frozen=True)
class Walk:
    """Hand readings of one walk, °C by bag number, NaN where not read."""

    at_s: float
    surface_c: np.ndarray


@dataclass(frozen=True)
class Room:
    """What the simple rules see: frames of 10 min, (bags, frames), NaN where there is none."""

    bags: tuple[str, ...]
    cohorts: tuple[np.ndarray, ...]
    inoculated_s: np.ndarray
    ends_s: np.ndarray
    surface_c: np.ndarray
    walks: tuple[Walk, ...]
    truths: tuple[BagTruth, ...]


def read_truth(folder: Path, probe_of: dict[str, str]) -> tuple[BagTruth, ...]:
    """Folders without `half_degree` tell that moment in `extra_heat_from`.

    Looked at in the practice rooms: there the difference to healthy mates averages 0.4 K in the
    six hours after `extra_heat_from` whatever the later height of it, 1.2 or 3.4 K, which is
    0.5 K at a surface seen through a contact of about 0.8.
    """

    def moment(text: str | None) -> float | None:
        return seconds(text) if text else None

    truths = []
    for bag, said in json.loads((folder / "truth.json").read_text(encoding="utf-8")).items():
        if not isinstance(said, dict):
            continue
        fault = next((f for f in PROBE_FAULTS if said[f"probe_{f}"] and probe_of.get(bag)), "")
        truths.append(
            BagTruth(
                bag=bag,
                kind=said["kind"],
                probe=probe_of.get(bag, ""),
                half_degree_s=moment(said.get("half_degree", said["extra_heat_from"])),
                stalled_s=moment(said["stalled_from"]),
                probe_fault=fault,
                probe_fault_s=moment(said[f"probe_{fault}"]) if fault else None,
            )
        )
    return tuple(truths)


def read_frames(folder: Path, probes: dict[str, int], count: int) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the frames and mean surface readings in them; 85.0 and its like are left out."""
    picked = [
        (probes[row["probe"]], seconds(row["time"]), float(row["value"]))
        for row in rows(folder / "readings.csv.gz")
        if row["probe"] in probes and row["quantity"] == "temperature"
    ]
    table = np.array(picked or [(0, 0.0, np.nan)])
    table = table[(table[:, 2] > -5.0) & (table[:, 2] < 60.0)]
    if not len(table):
        return np.zeros(0), np.zeros((count, 0))
    frame = (table[:, 1] // FRAME_S).astype(int)
    first, length = int(frame.min()), int(np.ptp(frame)) + 1
    cell = table[:, 0].astype(int) * length + frame - first
    total = np.bincount(cell, table[:, 2], count * length).reshape(count, length)
    number = np.bincount(cell, minlength=count * length).reshape(count, length)
    ends_s = (first + 1 + np.arange(length)) * FRAME_S
    return ends_s, np.where(number > 0, total / np.maximum(number, 1), np.nan)


def read_walks(folder: Path, number: dict[str, int]) -> tuple[Walk, ...]:
    """Readings less than an hour apart are one walk."""
    path = folder / "walks.csv"
    if not path.exists():
        return ()
    walks: list[Walk] = []
    last_s = float("-inf")
    for row in rows(path):
        at_s, value = seconds(row["time"]), float(row["value"])
        if at_s - last_s > 3600.0:
            walks.append(Walk(at_s, np.full(len(number), np.nan)))
        last_s = at_s
        celsius = (value - 32.0) / 1.8 if row["unit"] == "degF" else value
        walks[-1].surface_c[number[row["bag"]]] = celsius
    return tuple(walks)


def read_room(folder: Path) -> Room:
    """The whole folder; raises FileNotFoundError or KeyError naming what it lacks."""
    book = list(rows(folder / "bags.csv"))
    number = {row["bag"]: i for i, row in enumerate(book)}
    probe_of = {row["bag"]: row["probe"] for row in book}
    keys = [(row["strain"], row["spawn_lot"], row["inoculated"]) for row in book]
    cohorts = [[i for i, key in enumerate(keys) if key == k] for k in dict.fromkeys(keys)]
    on_bags = {row["probe"]: i for i, row in enumerate(book) if row["probe"]}
    ends_s, surface_c = read_frames(folder, on_bags, len(book))
    inoculated_s = np.array([seconds(row["inoculated"]) for row in book])
    surface_c[ends_s[None, :] <= inoculated_s[:, None]] = np.nan
    return Room(
        bags=tuple(number),
        cohorts=tuple(np.array(members) for members in cohorts),
        inoculated_s=inoculated_s,
        ends_s=ends_s,
        surface_c=surface_c,
        walks=read_walks(folder, number),
        truths=read_truth(folder, probe_of),
    )


KINDS = {"hot bag": "hot", "stalled bag": "stalled", "probe": "probe"}


def call_of(
    at_s: float, kind: str, transition: str, urgency: str, bag: str, probe: str
) -> Call | None:
    """The call an alarm's event is; None where it is none, as what waits for the morning message
    counts neither way."""
    if kind not in KINDS or transition not in ("raised", "urgency changed"):
        return None
    if kind != "probe" and urgency not in ("now", "today"):
        return None
    return Call(at_s, probe if kind == "probe" else bag, KINDS[kind])


def read_calls(path: Path) -> tuple[Call, ...]:
    """Calls in an `alarms.csv`."""
    found = (
        call_of(
            seconds(row["time"]),
            *(row[name] for name in ("kind", "transition", "urgency", "bag", "probe")),
        )
        for row in rows(path)
    )
    return tuple(call for call in found if call is not None)


def estimates(path: Path) -> Iterator[tuple[float, str, dict[str, Any]]]:
    """Rows of `estimates.csv.gz` or `truth_hourly.csv.gz` as (time, bag, row)."""
    for row in rows(path):
        yield seconds(row["time"]), row["bag"], row
