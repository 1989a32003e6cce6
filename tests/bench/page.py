"""How light the page is: a rack of a thousand bags, and twenty phones beside the readings.

    python -m tests.bench.page [--bags 1000] [--phones 20] [--seconds 20]

The page runs in this process beside the writer, as in `watch`; phones are another process.
Prints bytes and milliseconds; nothing is asserted, as every machine is another one.
"""

from __future__ import annotations

import http.client
import json
import multiprocessing
import os
import statistics
import tempfile
import threading
from collections.abc import Sequence
from multiprocessing.connection import Connection
from pathlib import Path
from time import perf_counter, process_time, sleep

from demo.command import parser_for
from demo.filled import HandClock
from demo.rooms import START_S
from demo.stage import free_port, wait_for_port
from monitor.page import Latest, PageServer
from monitor.road import Outcome
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.store import Arrival, Store
from monitor.terms import Quantity, Reason
from monitor.values import Bag, Decoded, Estimate, Evidence, Frame, Reading

PER_SHELF, SHELVES = 10, 5
FRAMES = 12
#: Two hundred readings a second, twelve times what a thousand probes a minute bring.
COMMIT_EVERY_S, BATCH = 0.1, 20
#: A frame a good deal oftener than every ten minutes, so that every phone draws the rack anew.
FRAME_EVERY_S = 5.0
PULSE_EVERY_S = 10.0


class Room:
    """A store with so many bags in racks of five shelves; frames are closed by hand."""

    def __init__(self, folder: Path, count: int) -> None:
        (folder / "room").mkdir()
        (folder / "monitor.yaml").write_text(
            "room: {name: Quarry Lane, folder: room, timezone: Europe/London,"
            " band_low: 17 C, band_high: 25 C}\nchannels: none\nstore: {path: bagwatt.db}\n"
            f"page: {{port: {free_port()}}}\n",
            encoding="utf-8",
        )
        self.settings: Settings = load_settings(folder, os.environ)
        self.latest = Latest()
        self.bags = [_bag(number) for number in range(count)]
        self.frames = 0
        with Store.open(self.settings.store.path, START_S) as store:
            store.add_book(START_S, self.bags, [])
            self.close_frame(store)

    def close_frame(self, store: Store) -> None:
        """The next frame, as the watch hands it on: each bag a little warmer or colder."""
        self.frames += 1
        end_s = START_S + 600.0 * self.frames
        judged = [_judged(number + self.frames, bag, end_s) for number, bag in enumerate(self.bags)]
        hourly = judged if self.frames == 1 else []
        store.close_frame(end_s, end_s, store.last_reading_id(), store.mark()[2], estimates=hourly)
        frame = Frame(end_s, 600.0, {}, {}, {})
        verdicts = {estimate.bag: (estimate, evidence) for estimate, evidence in judged}
        self.latest.take(Outcome(frame, verdicts, (), (), ()))


def _bag(number: int) -> Bag:
    place, slot = divmod(number, PER_SHELF)
    rack, shelf = divmod(place, SHELVES)
    return Bag(
        f"GO12-{number:04d}", f"QL-{number // 40:04d}", "GO-12", f"L{number // 40}",
        START_S - 3e5, 2.3, f"R{rack + 1:02d}", shelf + 1, slot + 1,
    )  # fmt: skip


def _judged(number: int, bag: Bag, at_s: float) -> tuple[Estimate, Evidence]:
    excess_k = (number * 37 % 61 - 30) / 20
    estimate = Estimate(bag.bag, at_s, 22.0 + excess_k, 21.0, 1.0 + excess_k)
    evidence = Evidence(
        bag.bag, bag.cohort, at_s, -2.0, -2.0, 4.0, 4.0, 39, excess_k, Reason.LIKE_ITS_COHORT
    )
    return estimate, evidence


class Phone:
    """One phone's connection, kept open as a browser keeps it."""

    def __init__(self, port: int) -> None:
        self._line = http.client.HTTPConnection("127.0.0.1", port, timeout=60.0)
        self._mark = ""

    def get(self, path: str) -> bytes:
        self._line.request("GET", path, headers={"accept-encoding": "gzip"})
        return self._line.getresponse().read()

    def beat(self, always: bool) -> float:
        """The pulse, and the rack where something happened; how long it took [ms]."""
        begun = perf_counter()
        mark = str(json.loads(self.get("/api/pulse"))["mark"])
        if always or mark != self._mark:
            self.get("/")
            self._mark = mark
        return (perf_counter() - begun) * 1000


def phones(port: int, count: int, every_s: float, ours: Connection) -> None:
    """So many phones until something is sent; then how long each of their beats took [ms]."""
    over = threading.Event()
    took: list[float] = []

    def look(number: int) -> None:
        phone = Phone(port)
        over.wait(every_s * number / count)
        while not over.is_set():
            took.append(phone.beat(always=every_s < PULSE_EVERY_S))
            over.wait(every_s)

    lookers = [threading.Thread(target=look, args=(number,)) for number in range(count)]
    for looker in lookers:
        looker.start()
    ours.recv()
    over.set()
    for looker in lookers:
        looker.join()
    ours.send(took)


def look_at_rack(room: Room, port: int) -> None:
    """The rack just after a frame was closed and again; its size as it travels."""
    phone = Phone(port)
    size = len(phone.get("/"))  # templates are read and the book is
    first, again, cost = [], [], []
    with Store.open(room.settings.store.path, START_S, check=False) as store:
        for _ in range(FRAMES):
            room.close_frame(store)
            for took in (first, again):
                begun, used = perf_counter(), process_time()
                phone.get("/")
                took.append((perf_counter() - begun) * 1000)
                if took is first:
                    cost.append((process_time() - used) * 1000)
    print(f"rack of {len(room.bags)} bags: {size / 1000:.1f} kB compressed")
    print(
        f"  first of a new frame: {_told(first)}; processor time {statistics.median(cost):.0f} ms"
    )
    print(f"  again in that frame:  {_told(again)}")


def beside_phones(room: Room, port: int, count: int, every_s: float, for_s: float) -> None:
    """Commits at a steady pace beside so many phones."""
    there, ours = multiprocessing.get_context("spawn").Pipe()
    child = multiprocessing.get_context("spawn").Process(
        target=phones, args=(port, count, every_s, there)
    )
    child.start()
    sleep(1.5)  # until its interpreter runs
    took = write_readings(room, for_s)
    ours.send("over")
    beats = ours.recv()
    child.join()
    print(f"{count} phones, a beat each {every_s:g} s: commits of {BATCH} readings {_told(took)}")
    if beats:
        print(f"  beats: {_told(beats)}")


def write_readings(room: Room, for_s: float) -> list[float]:
    """Store readings as the daemon does; how long each commit took [ms]."""
    took: list[float] = []
    with Store.open(room.settings.store.path, START_S, check=False) as store:
        begun_s, number, frame_s = perf_counter(), 0, perf_counter()
        while (at_s := perf_counter()) < begun_s + for_s:
            batch = [_arrival(number + at) for at in range(BATCH)]
            number += BATCH
            store.add_batch(batch)
            took.append((perf_counter() - at_s) * 1000)
            if at_s > frame_s + FRAME_EVERY_S:
                room.close_frame(store)
                frame_s = at_s
            sleep(max(0.0, COMMIT_EVERY_S - (perf_counter() - at_s)))
    return took


def _arrival(number: int) -> Arrival:
    at_s = START_S + number / 100
    reading = Reading(f"p{number % 1000}", Quantity.TEMPERATURE, 22.0, at_s, at_s, "line")
    return Arrival("line", "", at_s, at_s, "bench", True, Decoded((reading,)))


def _told(took: Sequence[float]) -> str:
    ranked = sorted(took)
    late = ranked[min(len(ranked) - 1, int(len(ranked) * 0.99))]
    return f"median {statistics.median(ranked):.1f} ms, 99 % {late:.0f} ms ({len(ranked)})"


def main() -> None:
    """Stage, look, press."""
    parser = parser_for("tests.bench.page", __doc__)
    parser.add_argument("--bags", type=int, default=1000)
    parser.add_argument("--phones", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=20.0)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bagwatt-bench-") as folder:
        room = Room(Path(folder), wanted.bags)
        server = PageServer(room.settings, HandClock(START_S), room.latest, print, "bench")
        server.start()
        assert room.settings.page is not None
        port = room.settings.page.port
        wait_for_port(port)
        look_at_rack(room, port)
        for count, every_s in ((0, PULSE_EVERY_S), (wanted.phones, PULSE_EVERY_S),
                               (wanted.phones, PULSE_EVERY_S / 20)):  # fmt: skip
            beside_phones(room, port, count, every_s, wanted.seconds)
        server.stop()


if __name__ == "__main__":
    main()
