"""What the mirror costs, against a real VictoriaMetrics: points a second, its processor time and
memory, and what a commit of readings notices of it.

python -m tests.bench.mirror [--readings 50000]

Each against a floor in the same run: the bare POST of the same lines, and commits while nothing
is copied.
"""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import quantiles
from urllib.request import Request, urlopen

from demo.command import parser_for
from monitor.clock import SystemClock
from monitor.mirror import Mirror
from monitor.mirror.points import Points
from monitor.mirror.walk import Walk
from monitor.settings.schema_mirror import MirrorSettings
from monitor.store import Arrival, Store, mirrored
from monitor.store.mirrored import Place
from tests.bench.meter import resident_mib, wait_for
from tests.store.samples import arrival, reading
from tests.victoria import MISSING, Victoria, find_victoria, running_victoria

#: In the past: a server drops what it takes for the future.
START_S = 1_790_000_000.0
BATCH = 1000
COMMIT, COMMITS, COMMIT_EVERY_S = 34, 150, 0.02


def arrivals(count: int, first: int = 0) -> list[Arrival]:
    """Readings of fifty probes in turn, one a second."""
    return [
        arrival(reading(20 + number % 977 / 200, START_S + number, f"p-b{number % 50:03d}"))
        for number in range(first, first + count)
    ]


def bare(victoria: Victoria, lines: list[str]) -> float:
    """The same lines by POST alone; points a second."""
    began_s = time.perf_counter()
    for first in range(0, len(lines), BATCH):
        body = "\n".join(lines[first : first + BATCH]).encode()
        request = Request(f"{victoria.url}/api/v2/write?precision=ms", data=body, method="POST")
        with urlopen(request) as answer:
            answer.read()
    return len(lines) / (time.perf_counter() - began_s)


@contextmanager
def copying(store: Store, victoria: Victoria, site: str) -> Iterator[MirrorSettings]:
    """A mirror of the store from its start, in its thread."""
    settings = MirrorSettings(url=victoria.url, site=site, batch=BATCH, every_s=1.0)
    last_id = store.last_reading_id()
    mirror = Mirror(settings, "bench", store.path, SystemClock(), lambda: last_id)
    mirror.start()
    try:
        yield settings
    finally:
        mirror.stop(5.0)


def caught_up(store: Store, settings: MirrorSettings) -> bool:
    found = mirrored.standing(store, settings.target)
    return found is not None and found.sent >= store.last_reading_id()


def commits(store: Store, first: int) -> list[float]:
    """What each of some commits took [ms]."""
    took = []
    for number in range(COMMITS):
        rows = arrivals(COMMIT, first + number * COMMIT)
        began_s = time.perf_counter()
        store.add_batch(rows)
        took.append(1000 * (time.perf_counter() - began_s))
        time.sleep(COMMIT_EVERY_S)
    return took


def said(took: list[float]) -> str:
    cuts = quantiles(took, n=100)
    return f"{cuts[49]:.2f} ms in the middle, {cuts[98]:.2f} ms at 99 %, {max(took):.2f} ms at most"


def main() -> None:
    parser = parser_for("tests.bench.mirror", __doc__)
    parser.add_argument("--readings", type=int, default=50_000)
    count = parser.parse_args().readings
    if find_victoria() is None:
        raise SystemExit(MISSING)
    with (
        tempfile.TemporaryDirectory() as name,
        running_victoria(Path(name)) as victoria,
        Store.open(Path(name) / "bench.db", START_S) as store,
    ):
        for first in range(0, count, 1000):
            store.add_batch(arrivals(1000, first))
        walk = Walk(store, Points("bare", "bench", {}), Place())
        lines = [one.line for one in walk.all(store.last_reading_id)]
        floor = bare(victoria, lines)
        del lines
        before_mib, cpu_s, began_s = resident_mib(), time.process_time(), time.perf_counter()
        with copying(store, victoria, "bench") as settings:
            wait_for(lambda: caught_up(store, settings), "it catches up", 0.1)
        took_s, cpu_s = time.perf_counter() - began_s, time.process_time() - cpu_s
        rate = count / took_s
        print(f"{count} points: {rate:.0f}/s, {cpu_s / count * 1e6:.0f} µs of processor each")
        print(f"bare POST of the same lines: {floor:.0f}/s; ratio {rate / floor:.2f}")
        print(f"resident: {before_mib:.0f} MiB before, {resident_mib():.0f} MiB after")
        assert victoria.points('{site="bench"}') == count
        print(f"commits of {COMMIT} alone: {said(commits(store, count))}")
        with store.transaction() as connection:
            connection.execute("DELETE FROM mirrors")
        with copying(store, victoria, "again"):
            print(f"while it copies: {said(commits(store, 2 * count))}")
            assert any(one.name == "mirror" for one in threading.enumerate())


if __name__ == "__main__":
    main()
