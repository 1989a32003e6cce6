"""One connection to the broker of the neighbours, from its beginning to its end, through paho.

paho's thread only puts what happens into queues; who owns the line takes it from there. A line
that ended is thrown away, so that nothing of it can come back with the next one.
"""

from __future__ import annotations

import queue
import socket
from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.neighbours.board import EMPTY, MOST_IN_FLIGHT
from monitor.settings.schema_neighbours import NeighbourSettings
from monitor.sources.mqtt_client import refused_login
from monitor.sources.passing_client import connect_wishes, passing_client

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

CONNECT_LIMIT_S = 5.0
#: A packet bigger than this the broker keeps to itself (MQTT 5 only).
_LARGEST_PACKET = 1 << 17
_MOST_EVENTS = 1000
#: Kept messages of our own room that are found at a start: alarms and bags, and to spare.
MOST_FOUND = 20_000


@dataclass(frozen=True, slots=True)
class Up:
    """The broker has accepted us, and takes so many messages that it has not answered."""

    takes: int


@dataclass(frozen=True, slots=True)
class Granted:
    """It has answered a subscription; `refusal` is empty where it grants it."""

    refusal: str


@dataclass(frozen=True, slots=True)
class Came:
    """A message, `kept` by the broker from before the subscription."""

    topic: str
    payload: bytes
    kept: bool


@dataclass(frozen=True, slots=True)
class Answered:
    """The broker has message `number`; `refusal` is empty where it takes it."""

    number: int
    refusal: str


@dataclass(frozen=True, slots=True)
class Down:
    """The connection is no more; `refused` where our settings are at fault."""

    detail: str
    refused: bool = False


Event = Up | Granted | Came | Answered | Down


class Line:
    """A connection whose last will empties the topic of a claim."""

    def __init__(self, settings: NeighbourSettings, claim_topic: str) -> None:
        """Raises OSError or ValueError for unusable certificate files."""
        self.events: queue.Queue[Event] = queue.Queue(_MOST_EVENTS)
        #: What stands on the broker of our own room, in the order in which it came.
        self.found: deque[Came] = deque(maxlen=MOST_FOUND)
        self.overflowed = False
        self.where = f"{settings.host}:{settings.port}"
        self._settings = settings
        self._claims = claim_topic.rpartition("/")[0] + "/"
        self._ended = False
        self._client = client = passing_client(settings, "bagwattroom", CONNECT_LIMIT_S, False)
        client.will_set(claim_topic, EMPTY, qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        client.on_message = self._on_message

    def open(self) -> None:
        """Connect; may wait for `CONNECT_LIMIT_S`. Raises OSError or ValueError."""
        settings = self._settings
        wishes = connect_wishes(settings, _LARGEST_PACKET)
        self._client.connect(settings.host, settings.port, round(settings.keepalive_s), **wishes)
        self._client.loop_start()

    def distrusts(self, error: Exception) -> bool:
        """Whether a connection failed because the broker's certificate is not trusted."""
        if self._settings.tls is None:
            return False
        from ssl import SSLCertVerificationError  # noqa: PLC0415

        return isinstance(error, SSLCertVerificationError)

    def subscribe(self, filters: Sequence[tuple[str, int]]) -> None:
        """Subscribe to filters, each with its QoS."""
        self._client.subscribe(list(filters))

    def unsubscribe(self, filters: Sequence[str]) -> None:
        self._client.unsubscribe(list(filters))

    def publish(self, topic: str, payload: bytes, keep: bool) -> int:
        """Send at QoS 1; the number under which the broker will answer."""
        return self._client.publish(topic, payload, qos=1, retain=keep).mid

    def next(self, limit_s: float) -> Event | None:
        """What happened next, None where nothing does within `limit_s` of life."""
        try:
            return self.events.get(timeout=limit_s)
        except queue.Empty:
            return None

    def leave(self) -> None:
        """Say goodbye; the broker then ends the connection."""
        self._client.disconnect()

    def end(self) -> None:
        """Cut it, whatever hangs: paho's thread ends by itself."""
        self._ended = True
        self._client.disconnect()
        sock = self._client.socket()
        if isinstance(sock, socket.socket):
            with suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)

    # -- paho's thread ---------------------------------------------------------------------

    def _put(self, event: Event) -> None:
        if self._ended:
            return
        try:
            self.events.put_nowait(event)
        except queue.Full:
            self.overflowed = True

    def _on_connect(
        self, client: Client, userdata: Any, flags: Any, reason_code: Any, properties: Any
    ) -> None:
        if reason_code.is_failure:
            self._put(Down(f"{self.where} answers: {reason_code}", refused_login(reason_code)))
            return
        self._put(Up(getattr(properties, "ReceiveMaximum", MOST_IN_FLIGHT)))

    def _on_disconnect(
        self, client: Client, userdata: Any, flags: Any, reason_code: Any, properties: Any
    ) -> None:
        self._put(Down(f"{self.where}: connection lost ({reason_code})"))

    def _on_subscribe(
        self, client: Client, userdata: Any, mid: int, reason_codes: Any, properties: Any
    ) -> None:
        refused = [str(code) for code in reason_codes if code.is_failure]
        self._put(Granted(refused[0] if refused else ""))

    def _on_publish(
        self, client: Client, userdata: Any, mid: int, reason_code: Any, properties: Any
    ) -> None:
        self._put(Answered(mid, str(reason_code) if reason_code.is_failure else ""))

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        try:
            came = Came(message.topic, bytes(message.payload), bool(message.retain))
        except UnicodeDecodeError:  # decoded only now; no topic of ours
            return
        if came.topic.startswith(self._claims):
            self._put(came)
        else:
            self.found.append(came)
