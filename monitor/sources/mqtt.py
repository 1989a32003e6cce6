"""An MQTT broker as a source, through paho-mqtt 2.x: MQTT 5 and 3.1.1.

Nothing is lost from the moment the broker has it: the session outlives us, and a message is
acknowledged only when the caller says that it is kept. Threads: paho's own, which runs the
callbacks (they stamp, enqueue and never raise), a keeper that connects, pulses and recycles,
and the caller's, which acknowledges.
"""

from __future__ import annotations

import queue
import secrets
import sys
import threading
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from monitor.clock import Clock
from monitor.settings.schema_sources import MqttSettings
from monitor.sources.delivery import AckWindow, Backlog, delivery_key
from monitor.sources.mqtt_client import (
    client_id,
    connect,
    connect_fault,
    disconnect_fault,
    make_client,
    no_answer,
    own_corner,
    pulse_topic,
    refused_login,
    standing_text,
    standing_topic,
    subscribe,
    trial_identity,
)
from monitor.sources.numbers import LONGEST_PAYLOAD
from monitor.sources.payload import payload_decoder
from monitor.sources.source import Packet, SourceHealth, Standing
from monitor.sources.topics import TopicPattern
from monitor.values import Decoded, Flag, Reason, Refusal

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

_TICK_S = 0.5
_SETUP_RETRY_S = 30.0
_REVIVAL_PAUSE_S = 5.0
_SHORT_CONNECTION_S = 10.0
_FAREWELL_S = 1.0
#: What the broker refuses is asked for again so much later: its rules may be mended meanwhile.
_ASK_AGAIN_S = 60.0
#: Silence of this many pulses means that the connection is dead, whatever it says of itself.
_PULSES_MISSED = 3


class MqttSource:
    """Readings from one broker. `generation` counts connections: acknowledgements of an older
    one are dropped, because its message ids may by now belong to other messages.

    As a `trial` it only listens for a while beside a watch that may be running: under a name of
    its own, with nothing kept by the broker, and without a word on how bagwatt stands."""

    def __init__(
        self, settings: MqttSettings, clock: Clock, session: str = "", trial: bool = False
    ) -> None:
        self.name = settings.name
        self._settings = settings
        self._clock = clock
        self._session = session
        self._lasting = not trial
        self._client_id = settings.client_id or client_id(settings.name)
        if trial:
            self._client_id = trial_identity(self._client_id)
        self._pulse_topic = pulse_topic(self._client_id)
        self._standing_topic = standing_topic(self._client_id)
        self._routes = tuple(
            (TopicPattern.compile(topic.topic), payload_decoder(topic.payload))
            for topic in settings.topics
        )
        self._filters = tuple(dict.fromkeys(pattern.filter for pattern, _ in self._routes))
        self._standing = Standing(self.name, Reason.BROKER_LOST, "not started")
        self._stopping = threading.Event()
        self._keeper: threading.Thread | None = None
        self._client: Client | None = None
        self._sink: queue.Queue[Packet] = queue.Queue(1)
        # Guards what follows; callbacks hold it briefly and never call paho with it but to ack.
        # Reentrant, because acking on a dead connection may call `_on_disconnect` at once.
        self._lock = threading.RLock()
        self._generation = 0
        self._window = AckWindow()
        self._backlog: Backlog | None = None
        self._subscribed = False
        self._asked: tuple[str, ...] = ()
        self._refused: tuple[str, ...] = ()
        self._doubts: dict[str, str] = {}  # by topic, in paho's thread only
        self._overflowed = False
        self._unanswered = False
        self._pulsed_s = self._asked_s = 0.0
        self._short_connections = 0

    def start(self, sink: queue.Queue[Packet]) -> None:
        self._sink = sink
        self._stopping.clear()
        self._keeper = threading.Thread(target=self._keep, name=f"mqtt {self.name}", daemon=True)
        self._keeper.start()

    def decode(self, packet: Packet) -> Decoded:
        for pattern, decoder in self._routes:
            captured = pattern.match(packet.topic)
            if captured is not None:
                return decoder(packet, captured)
        text = f"no topic in the settings fits {packet.topic!r}"
        return Decoded(refused=(packet.refused(Refusal.UNMAPPED_TOPIC, text),))

    def acknowledge(self, packet: Packet) -> None:
        if isinstance(packet.token, int):
            self._acknowledge(packet.token, packet.generation)

    def health(self, monotonic_s: float) -> SourceHealth:
        return self._alive(self._standing.health(), monotonic_s)

    def stop(self) -> None:
        self._stopping.set()
        if self._keeper is not None:
            self._keeper.join(timeout=3.0)  # one stuck in a connection attempt is a daemon

    # -- the keeper's thread ---------------------------------------------------------------

    def _keep(self) -> None:
        client = self._set_up()
        if client is None:
            return
        self._client = client
        self._standing.down(Reason.BROKER_LOST, no_answer(self._where()))
        connect(client, self._settings, self._lasting)
        client.loop_start()
        while not self._stopping.wait(_TICK_S):
            self._standing.turned()
            if client.loop_start() == 0:  # refused while it runs, so paho's thread had died
                self._recycle(client, "network thread died")
                self._stopping.wait(_REVIVAL_PAUSE_S)
            elif self._overflowed and self._sink.qsize() <= self._sink.maxsize // 2:
                self._recycle(client, "recycled for overflow")
            self._pulse(client)
            self._ask_again(client)
        self._leave(client)

    def _set_up(self) -> Client | None:
        """The client, once its certificates can be read."""
        while not self._stopping.is_set():
            try:
                client = make_client(self._settings, self._client_id, self._lasting)
            except (OSError, ValueError) as error:
                self._standing.down(Reason.BROKER_LOST, f"tls: {error}; mend the certificate files")
                self._standing.turned(_SETUP_RETRY_S)
                self._stopping.wait(_SETUP_RETRY_S)
                continue
            client.on_pre_connect = self._on_pre_connect
            client.on_connect = self._on_connect
            client.on_connect_fail = self._on_connect_fail
            client.on_disconnect = self._on_disconnect
            client.on_subscribe = self._on_subscribe
            client.on_message = self._on_message
            return client
        return None

    def _leave(self, client: Client) -> None:
        """Say that we stop on purpose, so that the last will is not needed."""
        if client.is_connected():
            self._tell_standing(client, "stopped", _FAREWELL_S)
        client.disconnect()
        client.loop_stop()

    def _tell_standing(self, client: Client, state: str, patience_s: float = 0.0) -> None:
        if not self._lasting:
            return
        text = standing_text(state, self._clock.wall_s())
        told = client.publish(self._standing_topic, text, qos=1, retain=True)
        if patience_s:
            with suppress(ValueError, RuntimeError):  # not sent: then the will stands
                told.wait_for_publish(patience_s)

    def _recycle(self, client: Client, why: str) -> None:
        """Connect anew: only then does the broker send again what was not acknowledged."""
        self._standing.count(why)
        client.disconnect()
        client.loop_stop()
        connect(client, self._settings, self._lasting)
        client.loop_start()

    def _pulse(self, client: Client) -> None:
        """Publish to oneself: its coming back shows the whole way to the broker alive."""
        now_s = self._life_s()
        with self._lock:
            backlog = self._backlog
            if backlog is None or now_s - self._pulsed_s < self._settings.keepalive_s:
                return
            self._pulsed_s = now_s
        client.publish(self._pulse_topic, backlog.pulse, qos=1)

    def _ask(self, client: Client, filters: tuple[str, ...]) -> None:
        with self._lock:
            self._asked, self._asked_s, self._refused = filters, self._life_s(), ()
        subscribe(client, self._settings, filters)

    def _ask_again(self, client: Client) -> None:
        with self._lock:
            up, refused = self._backlog is not None, self._refused
        if up and refused and self._life_s() - self._asked_s >= _ASK_AGAIN_S:
            self._ask(client, refused)

    # -- paho's thread ---------------------------------------------------------------------

    def _on_pre_connect(self, client: Client, userdata: Any) -> None:
        self._unanswered = True

    def _on_connect(
        self, client: Client, userdata: Any, flags: Any, reason_code: Any, properties: Any
    ) -> None:
        self._unanswered = False
        if reason_code.is_failure:
            text = f"{self._where()} answers: {reason_code}"
            if refused_login(reason_code):
                text += "; do `username` and `password` fit what the broker lets in?"
                self._standing.down(Reason.BROKER_REFUSED, text)
            else:
                self._standing.down(Reason.BROKER_LOST, text)
            return
        session_present = bool(flags.session_present)
        with self._lock:
            self._generation += 1
            self._window = AckWindow()
            self._overflowed = False
            if not session_present:
                self._session = secrets.token_hex(6)
            pulse = secrets.token_hex(8).encode("ascii")
            self._backlog = Backlog(session_present, pulse, self._life_s())
            self._pulsed_s = self._life_s()
        self._standing.count("connections")
        self._standing.heard(self._clock.monotonic_s())
        self._standing.up()
        # A session found at our first connection may be of older settings: subscribe as well.
        if not (session_present and self._subscribed):
            self._ask(client, (*self._filters, self._pulse_topic))
        client.publish(self._pulse_topic, pulse, qos=1)
        self._tell_standing(client, "watching")
        if self._stopping.is_set():
            client.disconnect()

    def _on_connect_fail(self, client: Client, userdata: Any) -> None:
        error = sys.exc_info()[1]  # paho calls this from its `except`
        self._standing.down(Reason.BROKER_LOST, connect_fault(self._where(), error))
        self._unanswered = False
        if self._stopping.is_set():
            client.disconnect()

    def _on_disconnect(
        self, client: Client, userdata: Any, flags: Any, reason_code: Any, properties: Any
    ) -> None:
        with self._lock:
            self._generation += 1
            self._window = AckWindow()
            ended, self._backlog = self._backlog, None
            unanswered, self._unanswered = self._unanswered, False
        if ended is None:  # else `on_connect` or `on_connect_fail` has told more
            if unanswered:
                self._standing.down(Reason.BROKER_LOST, no_answer(self._where()))
            return
        short = self._life_s() - ended.since_s < _SHORT_CONNECTION_S
        self._short_connections = self._short_connections + 1 if short else 0
        text = disconnect_fault(self._where(), reason_code, self._short_connections)
        self._standing.down(Reason.BROKER_LOST, text)

    def _on_subscribe(
        self, client: Client, userdata: Any, mid: int, reason_codes: Any, properties: Any
    ) -> None:
        refused: list[str] = []
        for topic, code in zip(self._asked, reason_codes, strict=False):
            self._doubts.pop(topic, None)
            if code.is_failure:
                refused.append(topic)
                self._doubts[topic] = f"{topic} refused: {code}"
            elif code.value == 0:
                self._doubts[topic] = f"{topic} granted at QoS 0 only: messages may get lost"
        with self._lock:
            self._refused = tuple(refused)
        self._subscribed = not self._doubts
        problem = Reason.BROKER_REFUSED if refused else None
        self._standing.up("; ".join(self._doubts.values()), problem)

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        try:
            self._take(message)
        except Exception as error:  # raising here would end paho's thread for good
            self._standing.count(f"callback faults ({type(error).__name__})")
            self._overflowed = True  # not acknowledged: let the broker send it again

    def _take(self, message: MQTTMessage) -> None:
        wall_s, monotonic_s = self._clock.wall_s(), self._clock.monotonic_s()
        self._standing.heard(monotonic_s)
        topic, payload = _topic(message), bytes(message.payload)
        with self._lock:
            if self._overflowed:  # keep the order: all from the first that did not fit come again
                self._standing.count("overflowed")
                return
            backlog, generation = self._backlog, self._generation
            if backlog is None:
                return
            own = own_corner(topic)
            if own:
                if topic == self._pulse_topic:
                    backlog.pulse_came(payload)
                if message.qos:
                    self._window.received(message.mid)
            else:
                late = backlog.message_came(len(self._window), self._clock.real_s(monotonic_s))
                self._enqueue(self._packet(message, topic, payload, (wall_s, monotonic_s), late))
        if own and message.qos:
            self._acknowledge(message.mid, generation)

    def _enqueue(self, packet: Packet) -> None:
        try:
            self._sink.put_nowait(packet)
        except queue.Full:
            self._overflowed = True
            self._standing.count("overflowed")
            return
        if isinstance(packet.token, int):
            self._window.received(packet.token)
        self._standing.count("packets")

    def _packet(
        self,
        message: MQTTMessage,
        topic: str,
        payload: bytes,
        came_s: tuple[float, float],
        late: bool,
    ) -> Packet:
        """The packet with what the delivery tells of it; at QoS 0 it comes once or never."""
        marks = (Flag.RETAINED,) if message.retain else ()
        if late:
            self._standing.count("backlog")
            marks = (*marks, Flag.TIME_UNKNOWN)
        shortened = payload[: LONGEST_PAYLOAD + 1]
        if not message.qos:
            return Packet(self.name, shortened, topic, *came_s, marks)
        return Packet(
            self.name,
            shortened,
            topic,
            *came_s,
            marks,
            self._generation,
            message.mid,
            delivery_key(self._session, message.mid, topic, payload),
            self._session,
        )

    # -- shared ----------------------------------------------------------------------------

    def _acknowledge(self, mid: int, generation: int) -> None:
        with self._lock:
            if generation != self._generation or self._client is None:
                self._standing.count("stale acknowledgements")
                return
            for ready in self._window.done(mid):
                self._client.ack(ready, 1)
            if self._backlog is not None:
                self._backlog.acknowledged(self._life_s())

    def _alive(self, health: SourceHealth, monotonic_s: float) -> SourceHealth:
        """`health`, but told as lost where a connection that claims to stand is silent."""
        with self._lock:
            backlog = self._backlog
        if backlog is None or health.last_packet_monotonic_s is None:
            return health
        patience_s = _PULSES_MISSED * self._settings.keepalive_s
        silent_s = self._clock.real_s(monotonic_s - health.last_packet_monotonic_s)
        if silent_s > patience_s:
            text = f"{self._where()} silent for {silent_s:.0f} s though connected"
            return replace(health, connected=False, problem=Reason.BROKER_LOST, detail=text)
        if backlog.pulse_overdue(self._life_s(), patience_s):
            text = f"{self._where()} does not give back {self._pulse_topic}: allow it both ways"
            return replace(health, problem=Reason.BROKER_REFUSED, detail=text)
        return health

    def _life_s(self) -> float:
        return self._clock.real_s(self._clock.monotonic_s())

    def _where(self) -> str:
        return f"{self._settings.host}:{self._settings.port}"


def _topic(message: MQTTMessage) -> str:
    try:
        return message.topic
    except UnicodeDecodeError:  # decoded only now; it fits no pattern and is refused as such
        return ""
