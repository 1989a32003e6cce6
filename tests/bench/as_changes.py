"""A folder read at a steady pace, as if its probes had spoken on change or more seldom.

    python -m tests.bench.as_changes FOLDER OUT [--step 0.25] [--heartbeat-h 4] [--every-s 3600]

A probe that speaks on change looks as often as it was read and says what it reads once that is
`--step` or more [K] from what it said last, or nothing was said for `--heartbeat-h`; humidity by
four times as many %RH. With `--every-s` alone all probes say what they read at the same moments.
Draw the rooms with `Probes(every_s=120, resolution_k=0.01, noise_k=0.02)` or so: a probe that was
read every ten minutes can't say much more often.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from demo.command import parser_for, some_folder
from demo.folder import write_csv
from demo.rooms import HOUR_S
from tests.bench.folders import rows, seconds

COLUMNS = ("time", "probe", "quantity", "value", "unit")
HUMIDITY_STEPS_PER_K = 4.0
Row = Mapping[str, str]


def on_change(readings: Sequence[Row], step_k: float, heartbeat_s: float) -> Iterator[Row]:
    """What of `readings` would be said."""
    said: dict[tuple[str, str], tuple[float, float]] = {}
    for row in readings:
        key, at_s, value = (
            (row["probe"], row["quantity"]),
            seconds(row["time"]),
            float(row["value"]),
        )
        step = step_k * (HUMIDITY_STEPS_PER_K if row["quantity"] == "humidity" else 1.0)
        before = said.get(key)
        if before and at_s - before[0] < heartbeat_s and abs(value - before[1]) < step - 1e-9:
            continue
        said[key] = (at_s, value)
        yield row


def at_once(readings: Sequence[Row], every_s: float) -> Iterator[Row]:
    """Those of `readings` that fall on whole multiples of `every_s`."""
    return (row for row in readings if seconds(row["time"]) % every_s == 0.0)


def main(arguments: Sequence[str]) -> int:
    """Write the folder anew; all but its readings as it was."""
    parser = parser_for("tests.bench.as_changes", __doc__)
    parser.add_argument("folder", type=some_folder, metavar="FOLDER")
    parser.add_argument("out", type=Path, metavar="OUT")
    parser.add_argument("--step", type=float)
    parser.add_argument("--heartbeat-h", type=float, default=float("inf"))
    parser.add_argument("--every-s", type=float, default=600.0)
    told = parser.parse_args(arguments)
    shutil.copytree(told.folder, told.out)
    readings = list(rows(told.folder / "readings.csv.gz"))
    if told.step is None:
        kept = at_once(readings, told.every_s)
    else:
        kept = on_change(readings, told.step, told.heartbeat_h * HOUR_S)
    write_csv(
        told.out / "readings.csv.gz",
        list(COLUMNS),
        ([row[name] for name in COLUMNS] for row in kept),
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
