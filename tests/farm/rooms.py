"""Four rooms of a farm, each with a real `bagwatt watch` in a process of its own.

In North and South half a spawn lot goes warm during the first two days, which the judge has
seen already; East and the room with the odd name begin then. From there on their probes speak
over MQTT on a clock that goes faster than life.
"""

from __future__ import annotations

import json
import threading
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

import paho.mqtt.client as mqtt

from demo.filled import fill, write_room
from demo.live import LiveRoom
from demo.rooms import DAY_S, FIRST, GREY, START_S, make_room
from monitor.clock import FastClock
from monitor.settings.load import load_settings
from tests.waiting import wait_until

END_S = START_S + 2.0 * DAY_S
FACTOR = 300.0
FRAME_S = 600.0
SITE = "Quarry Lane"

#: Rooms by name: the seed that draws it, and whether the judge has seen its first two days. In
#: the first two exactly the first lot has bags that go warm, in the others none does.
DRAWN = {
    "North": (327, True),
    "South": (163, True),
    "East": (0, False),
    "Halle 2/östlich": (0, False),
}
_WARM = replace(
    FIRST.trouble,
    contaminated=0.3, run_chance=0.0, lot_chance=0.0, stalled=0.0, fell=0, stuck=0, silent=0,
    heater_stuck_chance=0.0, added_k=(4.5, 5.5), added_age_h=(14.0, 18.0), added_rise_h=(3.0, 4.0),
)  # fmt: skip
_SPEC = replace(
    FIRST,
    lines=(GREY, GREY),
    bags_per_cohort=8,
    days=4.0,
    session_days=(0.05,),
    probes=replace(FIRST.probes, blips=0.0),
)

SETTINGS = """\
room:
  name: "{name}"
  folder: room
  timezone: Europe/London
  band_low: 15 C
  band_high: 27 C
sources:
  - kind: mqtt
    name: broker
    host: 127.0.0.1
    port: {port}
    client_id: bagwatt-{key}
    keepalive: 5 s
    topics:
      - topic: quarry/{key}/+
        payload: {{shape: json, fields: [{{value: /t, probe_at: /p, time_at: /at}}]}}
channels: none
store: {{path: bagwatt.db}}
frames: {{length: 10 min, grace: 3 min}}
neighbours: {{host: 127.0.0.1, port: {port}, site: {site}, keepalive: 5 s}}
"""


class FarmClock(FastClock):
    """The rooms' clock, for who looks at them from outside."""


@dataclass
class FarmRoom:
    """One room: its folder, its bags as they go on, and all that its probes have said."""

    name: str
    folder: Path
    live: LiveRoom
    spoken: list[tuple[str, float, float]] = field(default_factory=list)

    @property
    def key(self) -> str:
        """Its name in the topics of its probes."""
        return self.folder.name


def make_rooms(folder: Path, ports: dict[str, int], more: str) -> dict[str, FarmRoom]:
    """Folders with settings, books and, for some, two days of a judged run; `more` settings."""
    rooms = {}
    for number, (name, (seed, seen)) in enumerate(DRAWN.items()):
        trouble = _WARM if seen else replace(_WARM, contaminated=0.0)
        room = make_room(replace(_SPEC, trouble=trouble), seed)
        place = folder / f"room{number}"
        write_room(place / "room", room)
        text = SETTINGS.format(name=name, key=place.name, port=ports[name], site=SITE)
        (place / "monitor.yaml").write_text(text + more, encoding="utf-8")
        if seen:
            live = fill(load_settings(place, {}), room, END_S)
        else:
            live = LiveRoom(room, keep_truth=False)
            live.advance(END_S)
        rooms[name] = FarmRoom(name, place, live)
    return rooms


class Voices:
    """All probes of the farm: what they say reaches the broker, or waits until it does."""

    def __init__(self, port: int, rooms: dict[str, FarmRoom], clock: FarmClock) -> None:
        self._rooms, self._clock = rooms, clock
        self._over = threading.Event()
        self._sent: list[mqtt.MQTTMessageInfo] = []
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, "probes")
        self._client.max_queued_messages_set(0)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._speak, daemon=True)
        self._thread.start()

    def _speak(self) -> None:
        while not self._over.wait(0.1):
            for room in self._rooms.values():
                for said in room.live.advance(self._clock.wall_s()):
                    if said.quantity == "temperature":
                        body = {"p": said.probe, "t": said.value, "at": said.time_s}
                        topic = f"quarry/{room.key}/{said.probe}"
                        self._sent.append(self._client.publish(topic, json.dumps(body), qos=1))
                        room.spoken.append((said.probe, said.time_s, said.value))

    def end(self) -> None:
        """Say no more; returns once the broker has all that was said."""
        self._over.set()
        self._thread.join(10.0)
        wait_until(lambda: all(one.is_published() for one in self._sent), 20.0, "all is sent")
        self._client.disconnect()
        self._client.loop_stop()


def rehearsal(origin_s: float) -> str:
    """What `watch --rehearse` is told, so that all share one clock."""
    start = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(END_S))
    return f"{start},{FACTOR:g},{origin_s:.3f}"
