"""A broker and a serial line in memory, with the faults of real ones."""

from __future__ import annotations

import json
import queue
from collections import deque
from dataclasses import dataclass
from datetime import UTC, datetime

from monitor.settings.schema_payload import FieldSettings, LineSettings, PayloadSettings
from monitor.sources.delivery import delivery_key
from monitor.sources.lines import LineDecoder
from monitor.sources.payload import payload_decoder
from monitor.sources.source import Packet, SourceHealth
from monitor.values import Decoded, Reason
from tests.simulation.world import START_S, VirtualClock, World

WINDOW = 20  # unacknowledged messages the broker sends ahead
SESSION = "session"
_FIELDS = (FieldSettings(value="/t", time_at="/at", time_format="iso 8601"),)
_DECODE = payload_decoder(PayloadSettings(shape="json", fields=_FIELDS))
_LINE = LineDecoder(LineSettings(pattern=r"(?P<probe>\S+) (?P<value>-?\d+\.\d+)"), 512)


@dataclass(frozen=True)
class Message:
    """One message as the broker holds it; `value` is like no other's."""

    mid: int
    topic: str
    payload: bytes
    value: float


class Broker:
    """QoS 1 for one lasting session: redelivers under the same id, in order, after a reconnect."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._mid = 0
        self._waiting: deque[Message] = deque()
        self._sent: dict[int, Message] = {}
        self._client: BrokerClient | None = None
        self.published: set[float] = set()
        self.acknowledged: set[float] = set()

    def publish(self, probe: str, value: float, measured_s: float) -> None:
        at = datetime.fromtimestamp(START_S + measured_s, UTC).isoformat()
        payload = json.dumps({"t": value, "at": at}).encode()
        self._mid = self._mid % 65535 + 1
        self.published.add(value)
        self._waiting.append(Message(self._mid, f"room/{probe}", payload, value))
        self.deliver()

    def attach(self, client: BrokerClient) -> None:
        self.detach()
        self._client = client

    def detach(self) -> None:
        """The connection is gone: what was not acknowledged waits again, at the front."""
        self._waiting.extendleft(reversed(self._sent.values()))
        self._sent.clear()
        self._client = None

    def deliver(self) -> None:
        while self._client and self._waiting and len(self._sent) < WINDOW:
            message = self._waiting.popleft()
            self._sent[message.mid] = message
            self._client.take(message)

    def acknowledge(self, mid: int) -> None:
        message = self._sent.pop(mid, None)
        if message is not None:
            self.acknowledged.add(message.value)
        self.deliver()

    @property
    def idle(self) -> bool:
        return not self._waiting and not self._sent


class BrokerClient:
    """The source that a process has; a new process makes a new one."""

    name = "broker"

    def __init__(self, world: World, broker: Broker, clock: VirtualClock) -> None:
        self._world, self._broker, self._clock = world, broker, clock
        self._sink: queue.Queue[Packet] = queue.Queue(1)
        self._generation = 0
        self._connected = False
        self._dead = False
        self._heard_s: float | None = None
        self.allowed = True

    def start(self, sink: queue.Queue[Packet]) -> None:
        self._sink = sink
        self._world.after(self._world.chance.uniform(0.0, 5.0), self._connect)

    def decode(self, packet: Packet) -> Decoded:
        return _DECODE(packet, {"probe": packet.topic.removeprefix("room/")})

    def acknowledge(self, packet: Packet) -> None:
        if self._connected and packet.generation == self._generation:
            self._broker.acknowledge(int(str(packet.token)))

    def health(self, monotonic_s: float) -> SourceHealth:
        problem = None if self._connected else Reason.BROKER_LOST
        return SourceHealth(self.name, self._connected, self._heard_s, problem, "")

    def stop(self) -> None:
        self._dead = True
        self._drop()

    def lose(self, for_s: float) -> None:
        """The network is gone for so long."""
        self._drop()
        self._world.after(for_s, self._connect)

    def take(self, message: Message) -> None:
        """What arrives goes into the queue; where it is full, everything must come again."""
        self._heard_s = self._clock.monotonic_s()
        packet = Packet(
            self.name,
            message.payload,
            message.topic,
            self._clock.wall_s(),
            self._heard_s,
            generation=self._generation,
            token=message.mid,
            dedup=delivery_key(SESSION, message.mid, message.topic, message.payload),
            session=SESSION,
        )
        try:
            self._sink.put_nowait(packet)
        except queue.Full:
            self._world.after(0.0, lambda: self.lose(1.0))

    def _connect(self) -> None:
        if self._dead or self._connected:
            return
        self._generation += 1
        self._connected = True
        self._broker.attach(self)
        self._heard_s = self._clock.monotonic_s()
        self._broker.deliver()

    def _drop(self) -> None:
        if self._connected:
            self._connected = False
            self._generation += 1
            self._broker.detach()


class SerialLine:
    """A port: a line that comes while nobody listens is lost, one that came is handed over once."""

    name = "bench"

    def __init__(self, clock: VirtualClock) -> None:
        self._clock = clock
        self._sink: queue.Queue[Packet] | None = None
        self._heard_s: float | None = None
        self.handed: dict[float, None] = {}
        self.cut = False

    def start(self, sink: queue.Queue[Packet]) -> None:
        self._sink = sink

    def line(self, probe: str, value: float) -> None:
        if self._sink is None or self._sink.full() or self.cut:
            return
        self._heard_s = self._clock.monotonic_s()
        text = f"{probe} {value:.6f}".encode()
        self._sink.put_nowait(Packet(self.name, text, "", self._clock.wall_s(), self._heard_s))
        self.handed[value] = None

    def decode(self, packet: Packet) -> Decoded:
        return _LINE.decode(packet)

    def acknowledge(self, packet: Packet) -> None:
        """Nothing to do."""

    def health(self, monotonic_s: float) -> SourceHealth:
        return SourceHealth(self.name, True, self._heard_s, None, "")

    def stop(self) -> None:
        self._sink = None
