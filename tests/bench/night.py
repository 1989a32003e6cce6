"""How long the review of a large store takes, and how much memory.

    python -m tests.bench.night [BAGS] [HOURS]

The store is filled with one reading a minute of each probe.
"""

from __future__ import annotations

import math
import resource
import sys
import tempfile
from pathlib import Path
from zoneinfo import ZoneInfo

from demo.command import parser_for, whole_number
from monitor.clock import process_seconds
from monitor.review.gather import gather_night
from monitor.review.night import review_night
from monitor.review.nights import Window
from monitor.road import Plan
from monitor.settings.load import load_settings
from monitor.store import Store, open_reader
from monitor.values import Bag, Estimate, Probe
from tests.night.room import EVENING_S, NIGHT_S, write_config

HOUR_S, FRAME_S = 3600.0, 600.0
INSERT = (
    "INSERT INTO readings (received_s, monotonic_s, boot, synced, source, probe, bag, quantity,"
    " value, measured_s, raw, raw_unit, marks) VALUES (?, 0, 1, 1, 'x', ?, '', ?, ?, ?, 0, '', '')"
)


def plan_of_many(bags: int) -> Plan:
    """So many bags with a probe each, three air probes and one of humidity."""
    known = {
        f"B{n}": Bag(f"B{n}", "1", "GO-12", "L1", EVENING_S - 72 * HOUR_S, 2.4, "R1", n % 5 + 1, n)
        for n in range(bags)
    }
    probes = {f"p{n}": Probe(f"p{n}", f"B{n}", "R1", n % 5 + 1) for n in range(bags)}
    probes |= {f"air{n}": Probe(f"air{n}", "", "R1", n) for n in (1, 3, 5)}
    probes["rh"] = Probe("rh", "", "R1", 3)
    return Plan(known, probes)


def fill(path: Path, plan: Plan, hours: float) -> int:
    """One reading a minute of every probe, closes and hourly estimates; how many readings."""
    count = 0
    with Store.open(path, EVENING_S) as store:
        store.add_book(EVENING_S, plan.bags.values(), plan.probes.values())
        at_s = NIGHT_S - hours * HOUR_S
        while at_s < NIGHT_S + FRAME_S:
            with store.transaction() as connection:
                connection.execute("INSERT OR IGNORE INTO boots VALUES (1, 'b', 0)")
                for minute in range(10):
                    t = at_s + 60.0 * minute
                    wave = math.sin(t / 200.0)
                    connection.executemany(
                        INSERT,
                        [
                            (t, name, *(("humidity", 85.0) if name == "rh" else
                             ("temperature", 21.0 + 0.5 * wave)), t)
                            for name in plan.probes
                        ],
                    )  # fmt: skip
                    count += len(plan.probes)
            at_s += FRAME_S
            full = at_s % HOUR_S == 0
            estimates = [(Estimate(bag, at_s, 22.0, 21.0, 1.0, 0.5), None) for bag in plan.bags]
            last = store.last_reading_id()
            store.close_frame(at_s, at_s + 20, last, 0, estimates=estimates if full else ())
    return count


def main() -> int:
    """Fill, review, print."""
    parser = parser_for("tests.bench.night", __doc__)
    parser.add_argument("bags", metavar="BAGS", nargs="?", type=whole_number, default=1000)
    parser.add_argument("hours", metavar="HOURS", nargs="?", type=whole_number, default=38)
    told = parser.parse_args()
    bags, hours = told.bags, told.hours
    with tempfile.TemporaryDirectory() as name:
        settings = load_settings(write_config(Path(name) / "c"), {}, outside=False)
        plan = plan_of_many(bags)
        count = fill(settings.store.path, plan, hours)
        began_s = process_seconds()
        with open_reader(settings.store.path) as store:
            window = Window(EVENING_S, NIGHT_S)
            data = gather_night(store, settings, plan, window, ZoneInfo("Europe/London"))
        gathered_s = process_seconds()
        review_night(data)
        ended_s = process_seconds()
    mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{bags} bags, {count} readings in {hours} h: gathered in {gathered_s - began_s:.1f} s,"
        f" reviewed in {ended_s - gathered_s:.1f} s, {mib:.0f} MiB resident at most"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
