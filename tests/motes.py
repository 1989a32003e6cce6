"""Put the raw Intel Berkeley lab motes into the folder format.

    python -m tests.motes RAW_FOLDER OUT_FOLDER [EVERY]

Reads Node*.txt.gz (columns: date, time,
epoch, mote, temperature °C, humidity %RH, light, volts; de Bruijn et al., CC BY-SA) and
writes bags.csv, probes.csv and readings.csv.gz. Every mote stands in as a bag of one cohort
on one shelf, so that a dying sensor is tempted to look like a hot bag. There is no air probe.
EVERY keeps one row of so many of each mote: the raw ones come every 31 s.
"""

from __future__ import annotations

import csv
import gzip
from datetime import datetime
from pathlib import Path

from demo.command import parser_for, some_folder, whole_number
from monitor.sources.folder import BAG_COLUMNS

FIELDS = 8


def mote_rows(path: Path, every: int = 1) -> list[tuple[str, str, str, str]]:
    """(time, mote, temperature, humidity) of every complete row of one mote's file."""
    rows = []
    with gzip.open(path, "rt", encoding="ascii", errors="replace") as handle:
        for line in handle:
            fields = line.split()
            if len(fields) != FIELDS:
                continue
            date, clock, _, mote, temperature, humidity, _, _ = fields
            rows.append((f"{date}T{clock[:8]}Z", f"m{int(mote):02d}", temperature, humidity))
    return rows[::every]


def first_day(rows: list[tuple[str, str, str, str]]) -> str:
    """The day of the first row, as an inoculation time."""
    return datetime.fromisoformat(rows[0][0]).strftime("%Y-%m-%dT00:00:00Z")


def write_folder(raw: Path, out: Path, every: int = 1) -> None:
    """Write the folder; rows of all motes in order of time."""
    rows = sorted(
        row for path in sorted(raw.glob("Node*.txt.gz")) for row in mote_rows(path, every)
    )
    if not rows:
        raise SystemExit(f"{raw}: no Node*.txt.gz with rows in it; name the folder of raw motes")
    out.mkdir(parents=True, exist_ok=True)
    motes = sorted({mote for _, mote, _, _ in rows})
    day = first_day(rows)
    with (out / "bags.csv").open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(BAG_COLUMNS)
        for slot, mote in enumerate(motes):
            writer.writerow([mote.upper(), "lab", "mote", "lab", day, 2.3, "R1", 1, slot, mote])
    with (out / "probes.csv").open("w", encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(["probe", "place", "rack", "shelf"])
        for mote in motes:
            writer.writerow([mote, f"bag:{mote.upper()}", "R1", 1])
    readings = out / "readings.csv.gz"
    with gzip.open(readings, "wt", 1, encoding="utf-8", newline="") as handle:
        writer = csv.writer(handle)
        writer.writerow(["time", "probe", "quantity", "value", "unit"])
        for time, mote, temperature, humidity in rows:
            writer.writerow([time, mote, "temperature", temperature, "Cel"])
            writer.writerow([time, mote, "humidity", humidity, "%RH"])


if __name__ == "__main__":
    parser = parser_for("tests.motes", __doc__)
    parser.add_argument("raw", metavar="RAW_FOLDER", type=some_folder)
    parser.add_argument("out", metavar="OUT_FOLDER", type=Path)
    parser.add_argument("every", metavar="EVERY", nargs="?", type=whole_number, default=1)
    told = parser.parse_args()
    write_folder(told.raw, told.out, told.every)
