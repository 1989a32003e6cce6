"""What the parts can do by themselves: the floors that bagwatt's ingest is held against.

    python -m tests.bench.floors callback PORT COUNT      paho-mqtt, which only acknowledges
    python -m tests.bench.floors insert FILE COUNT BATCH  SQLite, a bare insert of the same row
    python -m tests.bench.floors serial PORT COUNT        pyserial, read and split into lines

Each prints `ready`, then the seconds of wall and of processor it took from first to last.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from demo.command import parser_for, whole_number
from monitor.settings.schema_sources import MqttSettings
from monitor.sources.mqtt_client import connect, make_client, subscribe

TABLE = (
    "CREATE TABLE readings (id INTEGER PRIMARY KEY AUTOINCREMENT, received_s REAL,"
    " monotonic_s REAL, boot INTEGER, synced INTEGER, source TEXT, probe TEXT, bag TEXT,"
    " quantity TEXT, value REAL, measured_s REAL, stamped_s REAL, raw REAL, raw_unit TEXT,"
    " marks TEXT)"
)
INSERT = (
    "INSERT INTO readings (received_s, monotonic_s, boot, synced, source, probe, bag, quantity,"
    " value, measured_s, raw, raw_unit, marks) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)


class Watch:
    """Wall and processor seconds of this process since the first tick."""

    def __init__(self) -> None:
        self._began: tuple[float, float] | None = None

    def tick(self) -> None:
        if self._began is None:
            self._began = time.perf_counter(), time.process_time()

    def tell(self) -> None:
        wall_s, cpu_s = self._began or (0.0, 0.0)
        took = {"wall_s": time.perf_counter() - wall_s, "cpu_s": time.process_time() - cpu_s}
        print(json.dumps(took), flush=True)


def callback(port: int, count: int) -> None:
    """Take messages at QoS 1 with the product's own connection settings; acknowledge, no more."""
    settings = MqttSettings.model_validate(
        {
            "kind": "mqtt", "name": "floor", "host": "127.0.0.1", "port": port,
            "topics": [{"topic": "quarry/{probe}/temp"}],
        }
    )  # fmt: skip
    client = make_client(settings, "floor")
    watch, over, left = Watch(), threading.Event(), count

    def taken(client: Any, _: Any, message: Any) -> None:
        nonlocal left
        watch.tick()
        client.ack(message.mid, message.qos)
        left -= 1
        if not left:
            over.set()

    client.on_message = taken
    client.on_connect = lambda *_: subscribe(client, settings, ("quarry/+/temp",))
    client.on_subscribe = lambda *_: print("ready", flush=True)
    connect(client, settings)
    client.loop_start()
    over.wait()
    watch.tell()


def insert(path: Path, count: int, batch: int) -> None:
    """Insert rows as the store has them, each batch a transaction of its own."""
    link = sqlite3.connect(path, isolation_level=None)
    link.execute("PRAGMA journal_mode = WAL")
    link.execute("PRAGMA synchronous = FULL")
    link.execute(TABLE)
    print("ready", flush=True)
    watch = Watch()
    watch.tick()
    for first in range(0, count, batch):
        rows = [
            (1.8e9 + number, 1e5 + number, 1, 1, "broker", f"p{number % 50}", "", "temperature",
             20 + number % 977 / 200, 1.8e9 + number, 20 + number % 977 / 200, "Cel", "")
            for number in range(first, min(first + batch, count))
        ]  # fmt: skip
        link.execute("BEGIN IMMEDIATE")
        link.executemany(INSERT, rows)
        link.execute("COMMIT")
    watch.tell()


def serial(port: str, count: int) -> None:
    """Read lines the way pyserial offers them, count them, no more."""
    from serial import Serial

    with Serial(port, 115200, timeout=0.5, exclusive=True) as line:
        print("ready", flush=True)
        watch, left = Watch(), count
        while left > 0:
            data = line.read(max(1, line.in_waiting))
            if data:
                watch.tick()
                left -= len(data.split(b"\n")) - 1
    watch.tell()


def main() -> None:
    """The floor that is named."""
    parser = parser_for("tests.bench.floors", __doc__)
    floors = parser.add_subparsers(metavar="FLOOR", required=True)
    words: dict[Callable[..., None], dict[str, Callable[[str], object]]] = {
        callback: {"port": whole_number, "count": whole_number},
        insert: {"path": Path, "count": whole_number, "batch": whole_number},
        serial: {"port": str, "count": whole_number},
    }
    for floor, named in words.items():
        one = floors.add_parser(floor.__name__, description=floor.__doc__)
        one.set_defaults(floor=floor)
        for name, kind in named.items():
            one.add_argument(name, metavar=name.upper(), type=kind)
    told = vars(parser.parse_args())
    told.pop("floor")(**told)


if __name__ == "__main__":
    main()
