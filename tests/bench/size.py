"""What the store takes: bytes of file and bytes written to the disk, per reading and per row.

python -m tests.bench.size [--readings 12000] [--bags 50] [--hours 24]

Written bytes are what the kernel counts as sent to the disk (`write_bytes` of /proc/self/io,
whole pages), with the checkpoints of the WAL. A month and a year are extrapolated from these
steady parts and say so. Run it where /tmp is on a disk, not in memory.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from random import Random

from demo.command import parser_for
from monitor.logbook import Logbook
from monitor.settings.load import load_settings
from monitor.sources.folder import read_folder
from monitor.store import Arrival, Store
from monitor.values import Decoded, Quantity, Reading
from tests.bench.meter import disk_bytes
from tests.clocks import TurnedClock
from tests.soak.run import DAY_S, FRAME_S, HOUR_S, START_S, frame_of_readings, write_room

COMMITS = (1, 4, 17, 34, 100)
#: Readings before the count begins: by then the delivery keys go round.
WARM_UP = 4000
YEAR_D, RAW_D, ESTIMATES_D = 365, 30, 400
SLOTS_A_DAY, THINNED_A_DAY, HOURS_A_DAY, MINUTES_A_DAY = 144, 4, 24, 1440
MIB = 2**20


def arrivals(count: int, first: int = 0) -> Iterator[Arrival]:
    """Readings as a broker brings them: a probe of fifty each second."""
    for number in range(first, first + count):
        at_s, value = START_S + number, 20 + number % 977 / 200
        one = Reading(
            f"p-b{number % 50:03d}", Quantity.TEMPERATURE, value, at_s, at_s, "broker",
            raw=value, raw_unit="Cel",
        )  # fmt: skip
        key = f"5e551011:{number % 65535}:{hash(value) & 0xFFFFFFFF:016x}"
        yield Arrival("broker", key, at_s, at_s, "boot-1", True, Decoded((one,)), "5e551011")


def tables(path: Path) -> dict[str, tuple[int, int]]:
    """Bytes and rows of each table with its indexes."""
    link = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
    sizes = dict(
        link.execute(
            "SELECT tbl_name, SUM(pgsize) FROM dbstat JOIN sqlite_master USING (name)"
            " WHERE sqlite_master.type != 'view' GROUP BY tbl_name"
        ).fetchall()
    )
    found = {
        name: (size, link.execute(f'SELECT COUNT(*) FROM "{name}"').fetchone()[0])
        for name, size in sizes.items()
    }
    link.close()
    return found


def of_commits(folder: Path, count: int) -> float:
    """Written bytes per reading by how many are committed at once; returns the file's."""
    print(f"readings, {count} at each size of commit:")
    per_reading = 0.0
    for size in COMMITS:
        path = folder / f"{size}.db"
        with Store.open(path, START_S) as store:
            for first in range(0, WARM_UP, 100):
                store.add_batch(list(arrivals(100, first)))
            store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            before = disk_bytes()
            for first in range(WARM_UP, WARM_UP + count, size):
                store.add_batch(list(arrivals(size, first)))
            store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            written = (disk_bytes() - before) / count
        size_of, rows = tables(path)["readings"]
        per_reading = size_of / rows
        print(f"  {size:4d} in a commit: {written:6.0f} bytes written for each")
    print(f"  in the file: {per_reading:.0f} bytes each")
    return per_reading


def of_room(folder: Path, bags: int, hours: int) -> Mapping[str, float]:
    """Bytes per row of what a watched room writes beside its readings."""
    write_room(folder, bags, 30)
    settings = load_settings(folder, {"SOAK_URL": "json://127.0.0.1:9/x"})
    clock, draw = TurnedClock(START_S), Random(1)
    log = Logbook(settings, clock, lambda _: None)
    log.take_folder(read_folder(settings.room.folder), [], START_S)
    closing = 0
    for _ in range(round(hours * HOUR_S / FRAME_S)):
        clock.pass_s(FRAME_S)
        now_s = clock.wall_s()
        log.keep(list(frame_of_readings(bags, now_s, FRAME_S, draw)))
        before = disk_bytes()
        log.close(now_s, now_s, ())
        closing += disk_bytes() - before
    path = settings.store.path
    kept = tables(path)
    while log.store.prune(clock.wall_s(), 0):
        pass
    log.store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    sizes = kept | {"rollups": tables(path)["rollups"]}
    log.store.close()
    each = {name: size / rows for name, (size, rows) in sizes.items() if rows}
    print(f"a room of {bags} bags over {hours} h:")
    for name in ("rollups", "estimates", "frames", "checkpoints"):
        print(f"  {name}: {each[name]:.0f} bytes a row ({sizes[name][1]} rows)")
    print(f"  the road's state: {each['checkpoints'] / bags:.0f} bytes a bag, two are kept")
    hourly = closing / hours / bags
    print(f"  closes, estimates and states: {hourly:.0f} bytes written an hour for each bag")
    return each


def tell_years(per_reading: float, each: Mapping[str, float]) -> None:
    """A month of raw readings and a year of what stays, from the parts above."""
    print("extrapolated, a reading a minute from each bag:")
    for bags in (50, 1000):
        raw = per_reading * bags * MINUTES_A_DAY * RAW_D
        rolled = each["rollups"] * bags * SLOTS_A_DAY * YEAR_D
        thought = each["estimates"] * bags * (HOURS_A_DAY * RAW_D + THINNED_A_DAY * ESTIMATES_D)
        print(
            f"  {bags} bags: {raw / MIB:.0f} MiB for {RAW_D} days raw,"
            f" {rolled / MIB:.0f} MiB for a year of roll-ups,"
            f" {thought / MIB:.0f} MiB of estimates"
        )


def main() -> None:
    """All three."""
    parser = parser_for("tests.bench.size", __doc__)
    parser.add_argument("--readings", type=int, default=12_000)
    parser.add_argument("--bags", type=int, default=50)
    parser.add_argument("--hours", type=int, default=round(DAY_S / HOUR_S))
    words = parser.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with tempfile.TemporaryDirectory(prefix="bagwatt-bench-") as name:
        folder = Path(name)
        per_reading = of_commits(folder, words.readings)
        tell_years(per_reading, of_room(folder, words.bags, words.hours))


if __name__ == "__main__":
    main()
