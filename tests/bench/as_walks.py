"""A folder read by probes, as if the same bags had been read on walks.

    python -m tests.bench.as_walks FOLDER OUT [--seed 1]

Twice a day each bag is given what an infrared thermometer would say of the surface behind its
probe: the probe's hour about the walk, less the shelf air in it (a taped probe reads a mix, by a
contact drawn for each bag), with the thermometer's drift of that walk, the patch it is aimed at and
its noise. A probe at fault is not read any more. The noises are those of `demo.rooms.Probes`; the
walks that came with practice rooms 7 and 8 scatter as much (0.28 to 0.30 K from walk to walk).
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from demo.command import parser_for, some_folder
from demo.faults import POWER_ON_C
from demo.folder import stamp, write_csv
from demo.live import SECONDS_PER_BAG_ON_WALK
from demo.rooms import DAY_S, HOUR_S, Probes
from tests.bench.folders import rows, seconds
from tests.bench.scoring import PROBE_FAULTS

HALF_HOUR_S = 0.5 * HOUR_S
CONTACT = (0.78, 0.92)
Readings = Mapping[str, np.ndarray]


def read_probes(folder: Path) -> Readings:
    """Times [s] and values [°C] of each temperature probe: (readings, 2)."""
    found: dict[str, list[tuple[float, float]]] = {}
    for row in rows(folder / "readings.csv.gz"):
        if row["quantity"] == "temperature" and float(row["value"]) != POWER_ON_C:
            found.setdefault(row["probe"], []).append((seconds(row["time"]), float(row["value"])))
    return {probe: np.array(values) for probe, values in found.items()}


def mean_about(readings: Readings, probe: str, at_s: float) -> float:
    """Mean of the hour about a moment [°C]; NaN where the probe said nothing."""
    values = readings.get(probe, np.zeros((0, 2)))
    near = values[np.abs(values[:, 0] - at_s) <= HALF_HOUR_S, 1]
    return float(near.mean()) if len(near) else float("nan")


def walks(
    readings: Readings,
    bags: Sequence[Mapping[str, str]],
    air: Sequence[tuple[float, str]],
    broken_s: Mapping[str, float],
    seed: int,
) -> Iterator[tuple[float, str, float]]:
    """Moment [s], bag and surface [°C] of every hand reading; `air` is (shelf, probe)."""
    draw, noise = np.random.default_rng(seed), Probes()
    contact = {bag["bag"]: draw.uniform(*CONTACT) for bag in bags}
    patch_k = {bag["bag"]: draw.normal(0.0, noise.hand_patch_sd_k) for bag in bags}
    order = sorted(bags, key=lambda bag: (int(bag["shelf"]), int(bag["slot"])))
    first_s = min(values[0, 0] for values in readings.values())
    last_s = max(values[-1, 0] for values in readings.values())
    for day_s in np.arange(first_s - first_s % DAY_S, last_s, DAY_S):
        for hour in noise.hand_hours:
            at_s = float(day_s + HOUR_S * hour)
            drift_k = draw.normal(0.0, noise.hand_drift_k)
            airs_c = [mean_about(readings, probe, at_s) for _, probe in air]
            for place, bag in enumerate(order):
                name = bag["bag"]
                read_c = mean_about(readings, bag["probe"], at_s)
                gone = at_s + HALF_HOUR_S > broken_s.get(name, np.inf)
                if gone or at_s < seconds(bag["inoculated"]) or not np.isfinite(read_c):
                    continue
                here_c = float(np.interp(float(bag["shelf"]), [one for one, _ in air], airs_c))
                surface_c = here_c + (read_c - here_c) / contact[name]
                error_k = patch_k[name] + drift_k + draw.normal(0.0, noise.hand_noise_k)
                yield at_s + SECONDS_PER_BAG_ON_WALK * place, name, surface_c + error_k


def write(path: Path, table: Sequence[Mapping[str, Any]]) -> None:
    write_csv(path, list(table[0]), (list(row.values()) for row in table))


def convert(folder: Path, out: Path, seed: int) -> None:
    """Write the folder `out`."""
    out.mkdir(parents=True, exist_ok=True)
    bags, probes = list(rows(folder / "bags.csv")), list(rows(folder / "probes.csv"))
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    broken_s: dict[str, float] = {}
    for name, said in truth.items():
        if isinstance(said, dict):
            faults = [said[f"probe_{fault}"] for fault in PROBE_FAULTS]
            broken_s[name] = min((seconds(one) for one in faults if one), default=np.inf)
            said |= {f"probe_{fault}": None for fault in PROBE_FAULTS}
    in_air = [row for row in probes if row["place"] == "air"]
    readings = read_probes(folder)
    air = sorted((float(row["shelf"]), row["probe"]) for row in in_air if row["probe"] in readings)
    hand = [
        {
            "time": stamp(at_s),
            "bag": bag,
            "value": f"{32.0 + 1.8 * surface_c:.1f}",
            "unit": "degF",
        }
        for at_s, bag, surface_c in walks(readings, bags, air, broken_s, seed)
    ]
    names = {row["probe"] for row in in_air}
    kept = [row for row in rows(folder / "readings.csv.gz") if row["probe"] in names]
    write(out / "walks.csv", hand)
    write(out / "readings.csv.gz", kept)
    write(out / "bags.csv", [bag | {"probe": ""} for bag in bags])
    write(out / "probes.csv", in_air)
    (out / "truth.json").write_text(json.dumps(truth), encoding="utf-8")


def main(arguments: Sequence[str]) -> None:
    """Convert one folder."""
    parser = parser_for("tests.bench.as_walks", __doc__)
    parser.add_argument("folder", metavar="FOLDER", type=some_folder)
    parser.add_argument("out", metavar="OUT", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    told = parser.parse_args(arguments)
    convert(told.folder, told.out, told.seed)


if __name__ == "__main__":
    main(sys.argv[1:])
