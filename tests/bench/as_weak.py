"""A folder read by probes, as if its bags gave off less heat and its probes were coarser.

    python -m tests.bench.as_weak FOLDER OUT [--heat 0.6] [--resolution 0.5] [--noise 0.15]

What a bag's probe reads above its shelf's air, as the bag follows it with a lag of three hours, is
multiplied by `--heat`; noise [K] is added and the sum rounded to the resolution [K]. So rooms drawn
elsewhere stand for a second family: weaker heat, other probes. The truth stays as it was: added
heat is worth half a degree some hours later than it says, so delays read that much too long.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from demo.command import parser_for, some_folder
from demo.faults import POWER_ON_C
from demo.rooms import HOUR_S
from tests.bench.as_walks import Readings, read_probes, write
from tests.bench.folders import rows, seconds

LAG_S = 3.0 * HOUR_S
Air = Sequence[tuple[float, np.ndarray]]


def lagged(readings: np.ndarray) -> np.ndarray:
    """Readings (n, 2) of time [s] and value, the values passed through a first-order lag."""
    times, values = readings.T
    followed = values.copy()
    for place, share in enumerate(-np.expm1(-np.diff(times) / LAG_S), start=1):
        followed[place] = followed[place - 1] + share * (values[place] - followed[place - 1])
    return np.column_stack([times, followed])


def air_of(folder: Path, readings: Readings) -> Air:
    """The folder's air: (shelf, lagged readings), from the lowest shelf up."""
    found = [
        (float(row["shelf"]), lagged(readings[row["probe"]]))
        for row in rows(folder / "probes.csv")
        if row["place"] == "air" and row["probe"] in readings
    ]
    return sorted(found, key=lambda one: one[0])


def air_about(air: Air, shelf: float, at_s: float) -> float:
    """The lagged air at a shelf [°C]."""
    values_c = [float(np.interp(at_s, one[:, 0], one[:, 1])) for _, one in air]
    return float(np.interp(shelf, [one for one, _ in air], values_c))


def convert(
    folder: Path, out: Path, heat: float, resolution_k: float, noise_k: float, seed: int
) -> None:
    """Write the folder `out`."""
    out.mkdir(parents=True, exist_ok=True)
    for name in ("bags.csv", "probes.csv", "truth.json"):
        shutil.copyfile(folder / name, out / name)
    shelf_of = {row["probe"]: float(row["shelf"]) for row in rows(folder / "bags.csv")}
    air, draw = air_of(folder, read_probes(folder)), np.random.default_rng(seed)
    table = list(rows(folder / "readings.csv.gz"))
    for row in table:
        read_c = float(row["value"])
        told = row["quantity"] == "temperature" and row["probe"] in shelf_of
        if told and read_c != POWER_ON_C:
            here_c = air_about(air, shelf_of[row["probe"]], seconds(row["time"]))
            weak_c = here_c + heat * (read_c - here_c) + draw.normal(0.0, noise_k)
            row["value"] = f"{round(weak_c / resolution_k) * resolution_k:.4f}"
    write(out / "readings.csv.gz", table)


def main(arguments: Sequence[str]) -> None:
    """Convert one folder."""
    parser = parser_for("tests.bench.as_weak", __doc__)
    parser.add_argument("folder", metavar="FOLDER", type=some_folder)
    parser.add_argument("out", metavar="OUT", type=Path)
    parser.add_argument("--heat", type=float, default=0.6)
    parser.add_argument("--resolution", type=float, default=0.5)
    parser.add_argument("--noise", type=float, default=0.15)
    parser.add_argument("--seed", type=int, default=1)
    told = parser.parse_args(arguments)
    convert(told.folder, told.out, told.heat, told.resolution, told.noise, told.seed)


if __name__ == "__main__":
    main(sys.argv[1:])
