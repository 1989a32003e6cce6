"""How light the page is: a rack of a thousand bags, and twenty phones beside the readings.

    python -m tests.bench.page [--bags 1000] [--phones 20]

Prints bytes and milliseconds; nothing is asserted, as every machine is another one.
"""

from __future__ import annotations

import argparse
import os
import queue
import statistics
import tempfile
import threading
from pathlib import Path
from time import perf_counter

import httpx

from demo.filled import HandClock
from demo.rooms import START_S
from demo.stage import free_port, wait_for_port
from monitor.page import Latest, PageServer
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.store import Arrival, Store
from monitor.terms import Quantity, Reason
from monitor.values import Bag, Decoded, Estimate, Evidence, Reading

PER_SHELF, SHELVES = 10, 5
SECONDS = 5.0
BATCH = 100


def stage(folder: Path, count: int) -> Settings:
    """A store with so many bags in racks of five shelves, each judged a moment ago."""
    (folder / "room").mkdir()
    (folder / "monitor.yaml").write_text(
        "room: {name: Quarry Lane, folder: room, timezone: Europe/London,"
        " band_low: 17 C, band_high: 25 C}\nchannels: none\nstore: {path: bagwatt.db}\n"
        f"page: {{port: {free_port()}}}\n",
        encoding="utf-8",
    )
    settings = load_settings(folder, os.environ)
    bags = [_bag(number) for number in range(count)]
    with Store.open(settings.store.path, START_S) as store:
        store.add_book(START_S, bags, [])
        judged = [_judged(number, bag) for number, bag in enumerate(bags)]
        store.close_frame(START_S, START_S, 0, store.mark()[2], estimates=judged)
    return settings


def _bag(number: int) -> Bag:
    place, slot = divmod(number, PER_SHELF)
    rack, shelf = divmod(place, SHELVES)
    return Bag(
        f"GO12-{number:04d}", f"QL-{number // 40:04d}", "GO-12", f"L{number // 40}",
        START_S - 3e5, 2.3, f"R{rack + 1:02d}", shelf + 1, slot + 1,
    )  # fmt: skip


def _judged(number: int, bag: Bag) -> tuple[Estimate, Evidence]:
    excess_k = (number * 37 % 61 - 30) / 20
    estimate = Estimate(bag.bag, START_S, 22.0 + excess_k, 21.0, 1.0 + excess_k)
    evidence = Evidence(
        bag.bag, bag.cohort, START_S, -2.0, -2.0, 4.0, 4.0, 39, excess_k, Reason.LIKE_ITS_COHORT
    )
    return estimate, evidence


def look(address: str) -> None:
    """The rack: first answer, later ones, and its size as it travels."""
    with httpx.Client(base_url=address, timeout=60.0) as client:
        times = []
        for _ in range(12):
            begun = perf_counter()
            with client.stream("GET", "/") as answer:
                size = sum(len(part) for part in answer.iter_raw())
            times.append((perf_counter() - begun) * 1000)
        plain = len(client.get("/").content)
    print(f"rack: {size / 1000:.1f} kB compressed, {plain / 1000:.0f} kB plain")
    print(f"first answer {times[0]:.0f} ms, then {statistics.median(times[1:]):.0f} ms (median)")


def write_readings(settings: Settings, over: queue.Queue[list[float]]) -> None:
    """Store batches of a hundred readings as the daemon does; how long each commit took [ms]."""
    times: list[float] = []
    with Store.open(settings.store.path, START_S, check=False) as store:
        end, number = perf_counter() + SECONDS, 0
        while perf_counter() < end:
            batch = [_arrival(number + at) for at in range(BATCH)]
            number += BATCH
            begun = perf_counter()
            store.add_batch(batch)
            times.append((perf_counter() - begun) * 1000)
    over.put(times)


def _arrival(number: int) -> Arrival:
    at_s = START_S + number / 100
    reading = Reading(f"p{number % 1000}", Quantity.TEMPERATURE, 22.0, at_s, at_s, "line")
    return Arrival("line", "", at_s, at_s, "bench", True, Decoded((reading,)))


def beside_phones(settings: Settings, address: str, phones: int) -> None:
    """Commits alone, then with phones that each ask twice a second: far more than they do."""
    for count in (0, phones):
        over: queue.Queue[list[float]] = queue.Queue()
        quiet = threading.Event()
        asked: list[float] = []

        def ask(quiet: threading.Event = quiet, asked: list[float] = asked) -> None:
            with httpx.Client(base_url=address, timeout=60.0) as client:
                while not quiet.wait(0.5):
                    begun = perf_counter()
                    client.get("/api/pulse")
                    client.get("/")
                    asked.append((perf_counter() - begun) * 1000)

        callers = [threading.Thread(target=ask) for _ in range(count)]
        for caller in callers:
            caller.start()
        write_readings(settings, over)
        quiet.set()
        for caller in callers:
            caller.join()
        times = sorted(over.get())
        line = f"{count} phones: {len(times)} commits of {BATCH} readings in {SECONDS:.0f} s,"
        print(f"{line} median {statistics.median(times):.1f} ms, longest {times[-1]:.0f} ms")
        if asked:
            print(f"   a phone's pulse and rack: median {statistics.median(asked):.0f} ms")


def main() -> None:
    """Stage, look, press."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bags", type=int, default=1000)
    parser.add_argument("--phones", type=int, default=20)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bagwatt-bench-") as folder:
        settings = stage(Path(folder), wanted.bags)
        server = PageServer(settings, HandClock(START_S), Latest(), print, "bench")
        server.start()
        assert settings.page is not None
        wait_for_port(settings.page.port)
        look(server.address)
        beside_phones(settings, server.address, wanted.phones)
        server.stop()


if __name__ == "__main__":
    main()
