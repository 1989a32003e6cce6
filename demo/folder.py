"""Writes an invented room as a folder to replay, with the truth beside it.

    python -m demo.folder FAMILY SEED FOLDER

Families are `first`, `second` (weaker heat, coarser probes), `firstwalk` and `secondwalk` (the
same, read by hand), `handled` (bags that are moved and shaken), `anykind` and `anykindwalk` (other
bags, probes and spreads with every seed). A seed gives one room, always.
FOLDER is a new one or empty: nothing is written over, and nothing of another room stays beside it.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from demo.command import parser_for, whole_number
from demo.kinds import NAMES, draw_room
from demo.live import AIR_SHELVES, LiveRoom, bag_name, probe_name
from demo.rooms import DAY_S, START_S, Room

RACK = "R1"
BAG_COLUMNS = (
    "bag", "batch", "strain", "spawn_lot", "inoculated", "mass_kg", "rack", "shelf", "slot",
    "probe",
)  # fmt: skip


def stamp(time_s: float) -> str:
    """RFC 3339 in UTC, whole seconds."""
    return datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """RFC 4180; a name that ends in .gz is compressed, without a time in its header."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(header)
    writer.writerows(rows)
    data = text.getvalue().encode()
    path.write_bytes(gzip.compress(data, 6, mtime=0) if path.suffix == ".gz" else data)


def bag_rows(room: Room) -> list[list[Any]]:
    """The book of the room."""
    return [
        [
            bag_name(i),
            f"batch-{room.cohort(i)}",
            room.lines[i].name,
            f"lot-{room.cohort(i)}",
            stamp(room.session_s[i]),
            f"{room.bags.mass_kg[i]:.2f}",
            RACK,
            int(room.shelf[i]),
            i,
            "" if room.spec.hand_walks else probe_name(i),
        ]
        for i in range(room.count)
    ]


def probe_rows(room: Room) -> list[list[Any]]:
    air = [[f"air{i}", "air", RACK, int(shelf)] for i, shelf in enumerate(AIR_SHELVES)]
    air.append(["rh0", "air", RACK, 3])
    if room.spec.hand_walks:
        return air
    bags = range(room.count)
    return air + [[probe_name(i), f"bag:{bag_name(i)}", RACK, int(room.shelf[i])] for i in bags]


def book_rows(room: Room) -> list[list[Any]]:
    """What people did to the bags, in order of time."""
    shaken = [(float(room.bags.shaken_s[i]), bag_name(i), "shaken", "") for i in room.shaken]
    moved = [
        (move.at_s, bag_name(move.bag), "moved", f"{RACK}/{move.shelf}/{move.slot}")
        for move in room.moves
    ]
    return [[stamp(at_s), *rest] for at_s, *rest in sorted(shaken + moved)]


def truth(live: LiveRoom) -> dict[str, Any]:
    """Per bag: its kind and the moments things went wrong, null where they did not.

    `extra_heat_from` and `half_degree` are both the moment at which the added heat first made
    the film 0.5 K warmer than that of a twin without it.
    """
    room = live.room
    when: dict[tuple[int, str], float] = {
        (fault.bag, fault.kind): fault.from_s
        for fault in room.probe_faults
        if fault.kind != "blip" and not room.spec.hand_walks
    }

    def said(time_s: float | None) -> str | None:
        return None if time_s is None else stamp(time_s)

    bags: dict[str, Any] = {}
    for i, kind in enumerate(room.kinds):
        half = said(live.half_degree_s.get(i))
        bags[bag_name(i)] = {
            "kind": kind,
            "extra_heat_from": half,
            "stalled_from": said(float(room.bags.stall_from_s[i])) if kind == "stalled" else None,
            "probe_fell": said(when.get((i, "fell"))),
            "probe_stuck": said(when.get((i, "stuck"))),
            "probe_silent": said(when.get((i, "silent"))),
            "half_degree": half,
        }
    stuck = [fault.from_s for fault in room.room_faults if fault.kind == "heater stuck"]
    return {**bags, "heater_stuck_from": said(stuck[0] if stuck else None)}


def write_folder(room: Room, path: Path) -> None:
    """Run the whole room and write it to `path` in the folder format with truth beside it."""
    path.mkdir(parents=True, exist_ok=True)
    live = LiveRoom(room)
    readings = live.advance(START_S + room.spec.days * DAY_S)
    unit = {"temperature": "Cel", "humidity": "%RH"}
    write_csv(
        path / "readings.csv.gz",
        ["time", "probe", "quantity", "value", "unit"],
        (
            [stamp(r.time_s), r.probe, r.quantity, f"{r.value:.4f}", unit[r.quantity]]
            for r in readings
        ),
    )
    write_csv(path / "bags.csv", BAG_COLUMNS, bag_rows(room))
    write_csv(path / "probes.csv", ["probe", "place", "rack", "shelf"], probe_rows(room))
    if book := book_rows(room):
        write_csv(path / "book.csv", ["time", "bag", "event", "detail"], book)
    if room.spec.hand_walks:
        fahrenheit = room.spec.probes.hand_unit == "degF"
        scale, zero = (1.8, 32.0) if fahrenheit else (1.0, 0.0)
        write_csv(
            path / "walks.csv",
            ["time", "bag", "value", "unit"],
            (
                [
                    stamp(h.time_s),
                    h.bag,
                    f"{h.value_c * scale + zero:.1f}",
                    room.spec.probes.hand_unit,
                ]
                for h in live.walk
            ),
        )
    write_csv(
        path / "truth_hourly.csv.gz",
        ["time", "bag", "heat_w_per_kg", "core_c", "surface_c", "local_air_c"],
        (
            [stamp(row.time_s), row.bag, *(f"{value:.4f}" for value in row[2:])]
            for row in live.truth
        ),
    )
    (path / "truth.json").write_text(json.dumps(truth(live), indent=0), encoding="utf-8")


def main() -> int:
    """Write one folder; 2 on a wrong call."""
    parser = parser_for("demo.folder", __doc__)
    parser.add_argument(
        "family", metavar="FAMILY", choices=NAMES, help=f"one of {', '.join(NAMES)}"
    )
    parser.add_argument("seed", metavar="SEED", type=whole_number, help="a whole number from 0 on")
    parser.add_argument(
        "folder", metavar="FOLDER", type=Path, help="where to write it, new or empty"
    )
    told = parser.parse_args()
    if told.folder.exists() and not told.folder.is_dir():
        parser.error(f"argument FOLDER: {told.folder} is no folder")
    if told.folder.exists() and (there := sorted(one.name for one in told.folder.iterdir())):
        more = ", …" * (len(there) > 3)
        parser.error(
            f"argument FOLDER: {told.folder} is not empty ({', '.join(there[:3])}{more}):"
            " name a new folder, or empty it first"
        )
    write_folder(draw_room(told.family, told.seed), told.folder)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
