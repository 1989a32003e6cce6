"""Ninety days at 500 bags: memory stays flat, the file stops growing, no turn takes long.

python -m tests.soak.run [--days 90] [--bags 500] [--every 600] [--retention 30]

A real store on disk, the real road and logbook, invented readings every so many seconds (600,
one in each frame; a probe that reports every minute means ten times the readings), probes that
fall silent and come back, alarms that come and go. Says the memory, the file and the slowest
steps each simulated day.
"""

from __future__ import annotations

import math
import os
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

from demo.command import parser_for
from monitor.logbook import Logbook
from monitor.settings.load import load_settings
from monitor.sources.folder import read_folder
from monitor.store import Arrival
from monitor.values import (
    AlarmKind,
    Condition,
    Decoded,
    Facts,
    Quantity,
    Reading,
    Reason,
    Urgency,
)
from tests.clocks import TurnedClock

DAY_S = 86400.0
HOUR_S = 3600.0
FRAME_S = 600.0
START_S = 1_798_761_600.0  # 2027-01-01
RUN_S = 18 * DAY_S  # then a bag leaves and a new one takes its probe
AIR_PROBES = 8
LOOKS = 16  # in each frame; the real watch takes one each second
SETTINGS = """\
room: {{name: Quarry Lane, folder: room, timezone: Europe/London, band_low: 18 C, band_high: 28 C}}
recipients: [{{name: owner, urls: [{{env: SOAK_URL}}], least_urgency: later}}]
store: {{path: bagwatt.db, retention: {retention} d}}
"""


@dataclass(frozen=True, slots=True)
class Day:
    """A simulated day as it ended."""

    day: int
    resident_mib: float
    file_mib: float
    written_mib: float
    slowest_keep_ms: float
    slowest_tidy_ms: float
    slowest_close_ms: float
    seconds: float

    def __str__(self) -> str:
        slowest = (
            f"commit {self.slowest_keep_ms:4.0f} ms, tidying {self.slowest_tidy_ms:4.0f} ms,"
            f" close {self.slowest_close_ms:5.0f} ms"
        )
        return (
            f"day {self.day:3d}  memory {self.resident_mib:6.1f} MiB"
            f"  file {self.file_mib:7.1f} MiB  written {self.written_mib:7.1f} MiB"
            f"  slowest: {slowest}  ({self.seconds:.0f} s)"
        )


def write_room(folder: Path, bags: int, retention: float) -> None:
    """Bags in sessions of fifty, each with a probe, and air probes on the shelves."""
    (folder / "room").mkdir()
    (folder / "monitor.yaml").write_text(SETTINGS.format(retention=f"{retention:g}"), "utf-8")
    probes = [f"air-{shelf},air,R1,{shelf}" for shelf in range(1, AIR_PROBES + 1)]
    probes += [f"p{bag},bag:B{bag},R{bag // 64},{bag % 8 + 1}" for bag in range(bags)]
    text = "\n".join(["probe,place,rack,shelf", *probes])
    (folder / "room" / "probes.csv").write_text(text + "\n", encoding="utf-8")
    write_bags(folder, bags, 0.0)


def write_bags(folder: Path, bags: int, age_s: float) -> None:
    """The bags that hang on the probes at an age of the run: a batch follows the one before."""
    rows = ["bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe,session"]
    for bag in range(bags):
        batch, since_s = _batch(bag, bags, age_s)
        inoculated = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(START_S + since_s))
        rows.append(
            f"B{bag}-{batch},QL-{batch},GO-12,L{batch},{inoculated},2.3,R{bag // 64},{bag % 8 + 1},"
            f"{bag % 8 + 1},p{bag},S{bag // 50}-{batch}"
        )
    (folder / "room" / "bags.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def _batch(bag: int, bags: int, age_s: float) -> tuple[int, float]:
    """Which batch is on this bag's place, and when it began; places change by and by."""
    lead_s = RUN_S * (bag // 50) / max(1, math.ceil(bags / 50))
    batch = int((age_s + lead_s) // RUN_S)
    return batch, batch * RUN_S - lead_s


def frame_of_readings(bags: int, at_s: float, every_s: float, draw: Random) -> Iterator[Arrival]:
    """What all probes send in a frame, air first; one probe in fifty has a silent day in twenty.

    A probe that reports less than once in a frame has its turn in one frame of several.
    """
    age_s = at_s - START_S
    air_c = 22.5 + 0.6 * math.sin(2 * math.pi * age_s / DAY_S)
    steps, turns = max(1, int(FRAME_S / every_s)), max(1, int(every_s / FRAME_S))
    turn = int(at_s // FRAME_S) % turns
    for step in range(steps):
        moment_s = at_s - FRAME_S * (1 - (step + 0.5) / steps)
        for shelf in range(1, AIR_PROBES + 1):
            yield _arrival(f"air-{shelf}", air_c + 0.1 * shelf + draw.gauss(0, 0.05), moment_s)
        for bag in range(turn, bags, turns):
            if bag % 50 == 7 and int(age_s // DAY_S) % 20 == bag % 20:
                continue
            _, since_s = _batch(bag, bags, age_s)
            warmth_k = 2.5 * math.exp(-(((age_s - since_s) / DAY_S - 6.0) ** 2) / 18.0)
            yield _arrival(f"p{bag}", air_c + warmth_k + draw.gauss(0, 0.06), moment_s)


def _arrival(probe: str, value: float, at_s: float) -> Arrival:
    value = round(value, 2)
    one = Reading(probe, Quantity.TEMPERATURE, value, at_s, at_s, "soak", raw=value, raw_unit="Cel")
    return Arrival("soak", f"{probe}:{at_s}", at_s, at_s, "boot-1", True, Decoded((one,)), "s1")


def house_at(at_s: float) -> tuple[Condition, ...]:
    """A source that falls silent for two hours each day."""
    if (at_s - START_S) % DAY_S > 2 * HOUR_S:
        return ()
    facts = Facts(detail="soak")
    return (Condition(AlarmKind.HOUSE, "source x", Urgency.TODAY, Reason.SOURCE_SILENT, facts),)


class Stopwatch:
    """The slowest of a kind of step since it was last asked."""

    def __init__(self) -> None:
        self.slowest_ms: dict[str, float] = {}

    def run(self, kind: str, step: object) -> None:
        began_s = time.perf_counter()
        step()  # type: ignore[operator]
        took_ms = 1e3 * (time.perf_counter() - began_s)
        self.slowest_ms[kind] = max(took_ms, self.slowest_ms.get(kind, 0.0))


def resident_mib() -> float:
    """What this process holds in memory now."""
    with Path("/proc/self/statm").open(encoding="ascii") as file:
        return int(file.read().split()[1]) * resource.getpagesize() / 2**20


def written_mib() -> float:
    """What this process has handed to the disk so far."""
    for line in Path("/proc/self/io").read_text(encoding="ascii").splitlines():
        if line.startswith("wchar:"):
            return int(line.split()[1]) / 2**20
    return 0.0


def soak(folder: Path, days: int, bags: int, every_s: float, retention: float) -> Iterator[Day]:
    """Drive the whole run and tell of each day."""
    write_room(folder, bags, retention)
    settings = load_settings(folder, {"SOAK_URL": "json://127.0.0.1:9/x"})
    clock, draw = TurnedClock(START_S), Random(1)
    log = Logbook(settings, clock, lambda _: None)
    path = settings.store.path
    began_s = time.perf_counter()
    for day in range(1, days + 1):
        watch, before_mib = Stopwatch(), written_mib()
        write_bags(folder, bags, (day - 1) * DAY_S)
        log.take_folder(read_folder(settings.room.folder), [], clock.wall_s())
        for _ in range(int(DAY_S / FRAME_S)):
            clock.pass_s(FRAME_S)
            at_s = clock.wall_s()
            batch: list[Arrival] = []
            for one in frame_of_readings(bags, at_s, every_s, draw):
                batch.append(one)
                if len(batch) == settings.store.commit_count:
                    watch.run("keep", lambda kept=batch: log.keep(kept))
                    batch = []
            if batch:
                watch.run("keep", lambda kept=batch: log.keep(kept))
            end_s = at_s
            watch.run("close", lambda: log.close(end_s, end_s, house_at(end_s)))  # noqa: B023
            for _ in range(LOOKS):
                watch.run("tidy", log.look_after)
        _deliver(log, clock.wall_s())
        yield Day(
            day,
            resident_mib(),
            (path.stat().st_size + path.with_name(path.name + "-wal").stat().st_size) / 2**20,
            written_mib() - before_mib,
            watch.slowest_ms["keep"],
            watch.slowest_ms["tidy"],
            watch.slowest_ms["close"],
            time.perf_counter() - began_s,
        )
    log.store.close()


def _deliver(log: Logbook, now_s: float) -> None:
    """What the outbox would: the day's messages arrive."""
    rows = log.store.waiting("owner", now_s + DAY_S, 10_000)
    log.store.settle([row.delivery.message.message_id for row in rows], "delivered", "", now_s)


def main() -> int:
    parser = parser_for("tests.soak.run", __doc__)
    parser.add_argument("--days", type=int, default=90)
    parser.add_argument("--bags", type=int, default=500)
    parser.add_argument("--every", type=float, default=600.0, help="seconds between readings")
    parser.add_argument("--retention", type=float, default=30.0, help="days")
    words = parser.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with tempfile.TemporaryDirectory() as folder:
        for day in soak(Path(folder), words.days, words.bags, words.every, words.retention):
            print(day, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
