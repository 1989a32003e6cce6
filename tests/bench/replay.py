"""What a replay costs beside merely parsing the same CSV, and which part takes it.

python -m tests.bench.replay FOLDER… [--rounds 3]

`python -m demo.folder first 7 FOLDER` writes an invented room. Processor time, in one process,
turn about; a replay knows no store. Nothing is asserted.
"""

from __future__ import annotations

import csv
import os
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from statistics import median
from time import process_time
from typing import Any
from unittest.mock import patch

from demo.command import parser_for, some_folder
from monitor import replay
from monitor.road import Road
from monitor.sources.folder import _open_text, find_file, iter_readings, read_folder


def parsed(folder: Path) -> int:
    """Every row of the readings through the csv module, its time and number read, no more."""
    path = find_file(folder, "readings.csv")
    assert path is not None
    rows = 0
    with _open_text(path) as file:
        reader = csv.reader(file)
        header = next(reader)
        at, value = header.index("time"), header.index("value")
        for row in reader:
            datetime.fromisoformat(row[at]).timestamp()
            float(row[value])
            rows += 1
    return rows


class Parts:
    """Processor time by part; what a part calls of another is the other's."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._inner_s = 0.0

    def timed(self, part: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """The function, its own time added to `part`."""

        def run(*values: Any, **named: Any) -> Any:
            outer_s, self._inner_s = self._inner_s, 0.0
            began_s = process_time()
            try:
                return function(*values, **named)
            finally:
                took_s = process_time() - began_s
                self.seconds[part] = self.seconds.get(part, 0.0) + took_s - self._inner_s
                self._inner_s = outer_s + took_s

        return run

    def each(self, part: str, items: Iterator[Any]) -> Iterator[Any]:
        """The items, the time to have each added to `part`."""
        step = self.timed(part, items.__next__)
        while True:
            try:
                yield step()
            except StopIteration:
                return


def replayed(folder: Path) -> dict[str, float]:
    """The seconds of each part of a whole replay."""
    parts = Parts()
    with (
        tempfile.TemporaryDirectory(prefix="bagwatt-bench-") as out,
        patch.object(Road, "feed", parts.timed("quality", Road.feed)),
        patch.object(Road, "close", parts.timed("judge", Road.close)),
        patch.object(replay.Writer, "__call__", parts.timed("write", replay.Writer.__call__)),
        patch.object(replay, "iter_readings", lambda one: parts.each("read", iter_readings(one))),
    ):
        parts.timed("rest", replay.replay_folder)(folder, Path(out))
    return parts.seconds


def read(folder: Path) -> int:
    """The readings as a replay reads them: every row checked, in order of arrival."""
    return sum(1 for _ in iter_readings(read_folder(folder)))


def tell(folder: Path, rounds: int) -> None:
    """One folder: its parts, and the whole as so many times the parsing."""
    parses, reads, wholes = [], [], []
    for _ in range(rounds):
        for step, times in ((parsed, parses), (read, reads)):
            began_s = process_time()
            rows = step(folder)
            times.append(process_time() - began_s)
        wholes.append(replayed(folder))
    totals = [sum(parts.values()) for parts in wholes]
    shares = [total / parse for total, parse in zip(totals, parses, strict=True)]
    print(f"{folder.name}: {rows} readings, medians of {rounds}, seconds of processor")
    print(f"  merely parsed {median(parses):.2f}, read with every check {median(reads):.2f}")
    print(f"  replayed {median(totals):.2f}: {median(shares):.1f} times the parsing")
    for part in wholes[0]:
        took_s = median(one[part] for one in wholes)
        print(f"    {part:8s} {took_s:6.2f} s, {1e6 * took_s / rows:5.1f} µs for each reading")


def main() -> None:
    """Each folder in turn."""
    parser = parser_for("tests.bench.replay", __doc__)
    parser.add_argument("folders", metavar="FOLDER", nargs="+", type=some_folder)
    parser.add_argument("--rounds", type=int, default=3)
    words = parser.parse_args()
    for folder in words.folders:
        tell(folder, words.rounds)


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    main()
