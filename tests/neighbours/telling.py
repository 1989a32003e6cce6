"""A room that tells its neighbours over a real mosquitto: a real store, closes made by hand."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt

from monitor.neighbours.neighbours import Neighbours
from monitor.neighbours.picture import Closed
from monitor.neighbours.topics import Topics
from monitor.settings.schema_neighbours import NeighbourSettings
from monitor.store import Store
from monitor.values import BookEntry, Condition
from tests.broker import Broker
from tests.clocks import TurnedClock
from tests.watched import FRAME_S, NOW_S, Room

SETTINGS = """\
room: {{name: "{name}", folder: room, timezone: Europe/London, band_low: 10 C, band_high: 30 C}}
channels: none
store: {{path: bagwatt.db}}
frames: {{length: 1 min, grace: 1 s}}
neighbours: {{host: 127.0.0.1, port: {port}, site: Quarry Lane, keepalive: 5 s{more}}}
"""
BAGS = """\
bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe
GO12-001,QL-1,GO-12,GO12-G2,2026-11-25T10:00:00Z,2.3,R1,2,1,p1
GO12-002,QL-1,GO-12,GO12-G2,2026-11-25T10:00:00Z,2.3,R1,2,2,p2
"""


def write_room(folder: Path, name: str, port: int, more: str = "") -> Path:
    """Settings, two bags and five probes of the air."""
    (folder / "room").mkdir(parents=True)
    (folder / "room" / "bags.csv").write_text(BAGS, encoding="utf-8")
    rows = "".join(f"k{number},air,R1,1\n" for number in range(5))
    (folder / "room" / "probes.csv").write_text(f"probe,place,rack,shelf\n{rows}", encoding="utf-8")
    text = SETTINGS.format(name=name, port=port, more=more)
    (folder / "monitor.yaml").write_text(text, encoding="utf-8")
    return folder


class TellingRoom:
    """A logbook fed by hand, and what tells the neighbours beside it."""

    def __init__(self, folder: Path, later_s: float = 0.0) -> None:
        self.room = Room(folder)
        self.room.clock.pass_s(later_s)
        self.name = self.room.settings.room.name
        self.said: list[str] = []
        own = self.room.settings.neighbours
        assert own is not None
        self.own: NeighbourSettings = own
        self.start()

    def start(self) -> None:
        self.neighbours = Neighbours(
            self.room.settings, self.own, self.clock, self.said.append, 0.4
        )
        self.neighbours.start()

    @property
    def clock(self) -> TurnedClock:
        return self.room.clock

    def close(self, *house: Condition) -> float:
        """A minute with readings; its end."""
        log = self.room.log
        self.room.send(3)
        end_s = (self.clock.wall_s() // FRAME_S + 1) * FRAME_S
        self.clock.pass_s(end_s - self.clock.wall_s())
        outcome = log.close(end_s, self.clock.wall_s(), house)
        self.neighbours.closed(Closed(outcome, house, log.problem, log.store.path))
        return end_s

    def pull(self, bag: str) -> None:
        """A person takes a bag out."""
        with Store.open(self.room.settings.store.path, NOW_S, check=False) as store:
            store.add_entry(BookEntry(self.clock.wall_s(), bag, "pulled"))
        self.room.log.read_journal(self.clock.wall_s())

    def alarms(self) -> int:
        """How many stand."""
        return len(self.room.log.store.standing())

    def told_all(self, end_s: float) -> bool:
        """Whether the broker has all that stands since the close at `end_s`."""
        health = self.neighbours.health()
        return health.told_s == end_s and health.waiting == 0

    def end(self) -> None:
        self.neighbours.stop(3.0)
        self.room.log.store.close()


@contextmanager
def telling(folder: Path) -> Iterator[TellingRoom]:
    room = TellingRoom(folder)
    try:
        yield room
    finally:
        room.end()


@contextmanager
def watch(folder: Path, start: str) -> Iterator[subprocess.Popen[bytes]]:
    """A real `bagwatt watch`, whose minutes are tenths of a second from `start` on."""
    command = [str(Path(sys.executable).with_name("bagwatt")), "watch", "--config", str(folder)]
    command += ["--rehearse", f"{start},600"]
    with (folder / "watch.log").open("wb") as log:
        process = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            yield process
        finally:
            process.kill()
            process.wait(10)


class Ear:
    """Hears all that is told of rooms, as another program would."""

    def __init__(self, port: int, topics: Topics | None = None) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.kept: dict[str, bytes] = {}
        self.heard_s = time.monotonic()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self._client.on_message = self._take
        self._client.connect("127.0.0.1", port)
        self._client.subscribe(f"{(topics or Topics()).prefix}/#", 1)
        self._client.loop_start()

    def _take(self, client: mqtt.Client, userdata: Any, message: mqtt.MQTTMessage) -> None:
        self.heard.append((message.topic, message.payload))
        self.kept[message.topic] = message.payload
        self.heard_s = time.monotonic()

    def now(self) -> dict[str, Any]:
        """All that stands, by topic: JSON taken apart."""
        return {topic: json.loads(text) for topic, text in list(self.kept.items()) if text}

    def end(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@contextmanager
def ear(broker: Broker) -> Iterator[Ear]:
    """Someone who listens for the length of a `with`."""
    one = Ear(broker.port)
    try:
        yield one
    finally:
        one.end()


def kept(broker: Broker) -> dict[str, Any]:
    """What the broker tells a newcomer; it tells all at once, then it is quiet."""
    with ear(broker) as one:
        began_s = time.monotonic()
        while time.monotonic() < max(began_s + 0.3, one.heard_s + 0.1):
            time.sleep(0.02)
        return one.now()
