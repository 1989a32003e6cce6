"""kill -9 at random moments under load: every reading sent is in the store exactly once.

python -m tests.faults.kills --kills 200 [--seed 1] [--rate 300]

A real mosquitto, a publisher at QoS 1 that counts what the broker took, and `bagwatt watch` as
its own process, killed again and again: while it starts, connects, drains or works.
"""

from __future__ import annotations

import random
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as mqtt

from demo.command import parser_for
from monitor.store import open_reader
from tests.air_room import readings_in, write_air_room
from tests.broker import Broker, running_broker
from tests.faults.warm import Start, warm
from tests.waiting import wait_until

PROBES = 20
STEP_C = 1e-5  # message n reads FIRST_C + n * STEP_C, so that a value names its message
FIRST_C = 15.0
STARTED_LIMIT_S = 60.0
DRAIN_LIMIT_S = 120.0

SETTINGS = """\
room: {{name: Quarry Lane, folder: room, timezone: Europe/London, band_low: 10 C, band_high: 30 C}}
sources:
  - kind: mqtt
    name: broker
    host: 127.0.0.1
    port: {port}
    client_id: bagwatt-kills
    topics: [{{topic: "quarry/{{probe}}/temp"}}]
channels: none
store: {{path: bagwatt.db}}
frames: {{length: 1 min, grace: 1 s}}
"""


def write_room(folder: Path, port: int) -> None:
    """Settings and a book of probes without a bag."""
    names = (f"k{number}" for number in range(PROBES))
    write_air_room(folder, names, SETTINGS.format(port=port))


def stored(folder: Path) -> Counter[int]:
    """How often each message is in the store, by its number."""
    with open_reader(folder / "bagwatt.db") as store:
        rows = store.readings_after(0, store.last_reading_id())
        return Counter(round(((one.raw or 0.0) - FIRST_C) / STEP_C) for _, one in rows)


class Publisher:
    """Sends numbered readings at QoS 1 in a thread until it is paused or ended."""

    def __init__(self, port: int, rate_per_s: float) -> None:
        self._rate_per_s = rate_per_s
        self._sent: list[mqtt.MQTTMessageInfo] = []
        self._running = threading.Event()
        self._ended = threading.Event()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, "sensors", clean_session=False)
        self._client.max_queued_messages_set(0)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def sent(self) -> int:
        """How many were sent."""
        return len(self._sent)

    def connected(self) -> bool:
        return self._client.is_connected()

    def taken(self) -> set[int]:
        """The numbers of those that the broker acknowledged."""
        return {number for number, one in enumerate(self._sent) if one.is_published()}

    def _run(self) -> None:
        while not self._ended.is_set():
            if not self._running.wait(0.1) or not self.connected():
                continue
            topic = f"quarry/k{self.sent % PROBES}/temp"
            text = f"{FIRST_C + self.sent * STEP_C:.5f}"
            self._sent.append(self._client.publish(topic, text, qos=1))
            self._ended.wait(1.0 / self._rate_per_s)

    def go(self) -> None:
        self._running.set()

    def pause(self) -> None:
        """Send no more; returns once the broker has taken all that was sent."""
        self._running.clear()
        time.sleep(0.2)  # the thread may just be sending one more
        wait_until(lambda: len(self.taken()) == self.sent, 30.0, "the broker takes what was sent")

    def end(self) -> None:
        self.pause()
        self._ended.set()
        self._thread.join(5.0)
        self._client.disconnect()
        self._client.loop_stop()


@dataclass(frozen=True, slots=True)
class Figures:
    """What a run of kills gave."""

    kills: int
    while_starting: int
    broker_restarts: int
    sent: int
    stored: int
    lost: int
    doubled: int
    seconds: float

    def __str__(self) -> str:
        return (
            f"{self.kills} kills ({self.while_starting} while starting), {self.broker_restarts}"
            f" broker restarts, {self.sent} readings sent, {self.stored} stored, {self.lost} lost,"
            f" {self.doubled} doubled, {self.seconds:.0f} s"
        )


def _kill_once(start: Start, folder: Path, draw: random.Random) -> bool:
    """Start, kill at a random moment; True where it had not stored anything yet."""
    before = readings_in(folder)
    process = start(folder)
    if draw.random() < 0.3:
        time.sleep(draw.uniform(0.0, 0.4))
    else:
        wait_until(
            lambda: readings_in(folder) > before or not process.running(),
            STARTED_LIMIT_S,
            f"a reading is stored ({folder / 'watch.log'})",
        )
        time.sleep(draw.expovariate(1 / 0.2))
    assert process.running(), (folder / "watch.log").read_text()[-2000:]
    process.end(signal.SIGKILL)
    return readings_in(folder) == before


def _drain(start: Start, folder: Path, sent: int) -> None:
    """Let it work undisturbed until all is there, then ask it to stop."""
    process = start(folder)
    wait_until(lambda: readings_in(folder) >= sent, DRAIN_LIMIT_S, "the queue is drained")
    process.end(signal.SIGTERM)


def _subscribe(start: Start, folder: Path, broker: Broker) -> None:
    """Let it run once, so that the broker knows its session before the first message."""
    process = start(folder)
    said = "Sending SUBACK to bagwatt-kills"
    wait_until(lambda: said in broker.log(), STARTED_LIMIT_S, "subscribed")
    process.end(signal.SIGTERM)


def restart(broker: Broker, publisher: Publisher) -> None:
    """An orderly restart of the broker between two messages: its queue comes back."""
    publisher.pause()
    broker.stop()
    wait_until(lambda: not publisher.connected(), what="the publisher sees the broker go")
    broker.start()
    wait_until(publisher.connected, what="the publisher is back")
    publisher.go()


def kill_again_and_again(folder: Path, kills: int, seed: int, rate_per_s: float) -> Figures:
    """The whole run; the broker is restarted after each fiftieth kill, and half-way."""
    draw = random.Random(seed)
    began_s = time.monotonic()
    starting = restarts = 0
    with running_broker(folder, "max_inflight_messages 500") as broker, warm() as start:
        write_room(folder, broker.port)
        _subscribe(start, folder, broker)
        publisher = Publisher(broker.port, rate_per_s)
        publisher.go()
        for number in range(1, kills + 1):
            starting += _kill_once(start, folder, draw)
            if number % 50 == 0 or number == kills // 2:
                restart(broker, publisher)
                restarts += 1
        publisher.end()
        _drain(start, folder, publisher.sent)
    found = stored(folder)
    return Figures(
        kills=kills,
        while_starting=starting,
        broker_restarts=restarts,
        sent=publisher.sent,
        stored=sum(found.values()),
        lost=len(publisher.taken() - found.keys()),
        doubled=sum(times - 1 for times in found.values()),
        seconds=time.monotonic() - began_s,
    )


def main() -> int:
    parser = parser_for("tests.faults.kills", __doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rate", type=float, default=300.0, help="readings a second")
    words = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        figures = kill_again_and_again(Path(folder), words.kills, words.seed, words.rate)
    print(figures)
    return 1 if figures.lost or figures.doubled else 0


if __name__ == "__main__":
    sys.exit(main())
