"""Listens to the rooms of a farm over a broker, in paho's own thread; it publishes nothing.

After each subscription the broker tells all that it keeps; once it falls quiet, a claim that did
not come again was given up while we were away.
"""

from __future__ import annotations

import logging
import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.clock import Clock, process_seconds
from monitor.farm.client import connect, make_client
from monitor.farm.gather import Farm, Message, Moment
from monitor.farm.lot_nouns import FarmLots, RoomLots
from monitor.farm.lots import lots_over_rooms
from monitor.farm.standing import FarmView
from monitor.neighbours.topics import Topics
from monitor.settings.schema_neighbours import NeighbourSettings

if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessage

#: A broker hands out what it keeps in one go: after so long without more it has told all.
QUIET_S = 0.4
_LOOK_EVERY_S = 0.05

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Line:
    """The connection to the broker: `where` it is, whether it is `up` and since when [s since
    1970], whether all that it kept has come once, and what is wrong (empty: nothing)."""

    where: str
    up: bool
    since_s: float
    settled: bool
    problem: str


@dataclass(frozen=True, slots=True)
class Heard:
    """What is known of the farm at one moment."""

    at_s: float
    line: Line
    view: FarmView
    lots: FarmLots


class Listener:
    """Gathers what rooms tell from `start` to `stop`; one object, one run."""

    def __init__(self, settings: NeighbourSettings, clock: Clock) -> None:
        self._settings = settings
        self._clock = clock
        self._topics = Topics(settings.prefix)
        self._farm = Farm(self._topics)
        self._client: Client | None = None
        self._where = f"{settings.host}:{settings.port}"
        self._advice = f"let this login read {settings.prefix}/# there"
        # Guards what follows; held briefly, and never while paho is called.
        self._lock = threading.Lock()
        self._up = False
        self._since_s = clock.wall_s()
        self._problem = "not connected yet"
        self._told_s = process_seconds()
        self._subscribed = self._settled = self._settled_once = False
        self._lots: tuple[tuple[RoomLots, ...], FarmLots] = ((), FarmLots(()))

    def start(self) -> None:
        """Begin to connect. Raises OSError or ValueError for unusable certificate files."""
        client = make_client(self._settings)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        self._client = client
        connect(client, self._settings)
        client.loop_start()

    def stop(self, limit_s: float = 1.0) -> None:
        """End; an attempt to connect that hangs is left behind."""
        client, self._client = self._client, None
        if client is None:
            return
        client.disconnect()
        ending = threading.Thread(target=client.loop_stop, name="farm ends", daemon=True)
        ending.start()
        ending.join(limit_s)

    def heard(self) -> Heard:
        """All that is known just now."""
        now = self._now()
        with self._lock:
            self._settle()
            line = Line(self._where, self._up, self._since_s, self._settled_once, self._problem)
            view = self._farm.look(now, self._subscribed)
            known = self._lots
        told = view.room_lots()
        if told != known[0]:
            known = (told, lots_over_rooms(told))
            with self._lock:
                self._lots = known
        return Heard(now.wall_s, line, view, known[1])

    def wait_settled(self, limit_s: float) -> Heard:
        """What is known once the broker has told all it keeps, or after `limit_s` of life."""
        until_s = process_seconds() + limit_s
        while not (heard := self.heard()).line.settled and process_seconds() < until_s:
            time.sleep(_LOOK_EVERY_S)
        return heard

    def _now(self) -> Moment:
        return Moment(self._clock.monotonic_s(), process_seconds(), self._clock.wall_s())

    def _settle(self) -> None:
        quiet_s = process_seconds() - self._told_s
        if self._subscribed and not self._settled and quiet_s >= QUIET_S:
            self._settled = self._settled_once = True
            self._farm.settled()

    # -- paho's thread ---------------------------------------------------------------------

    def _on_connect(
        self, client: Client, userdata: Any, flags: Any, reason_code: Any, properties: Any
    ) -> None:
        if reason_code.is_failure:
            self._down(f"{self._where} answers: {reason_code}; see `neighbours` in the settings")
            return
        with self._lock:
            self._farm.subscribed()
            self._subscribed = self._settled = False
            self._up, self._since_s, self._problem = True, self._clock.wall_s(), ""
        client.subscribe([(self._topics.every_claim(), 1), (self._topics.every_summary(), 1)])

    def _on_subscribe(
        self, client: Client, userdata: Any, mid: int, reason_codes: Any, properties: Any
    ) -> None:
        refused = [str(code) for code in reason_codes if code.is_failure]
        with self._lock:
            self._subscribed, self._told_s = True, process_seconds()
            if refused:
                self._problem = f"{self._where} answers: {refused[0]}; {self._advice}"

    def _on_connect_fail(self, client: Client, userdata: Any) -> None:
        self._down(f"{self._where} can't be reached")

    def _on_disconnect(
        self, client: Client, userdata: Any, flags: Any, reason_code: Any, properties: Any
    ) -> None:
        if self._up:  # else the refusal that was told says more
            self._down(f"{self._where}: connection lost ({reason_code})")

    def _on_message(self, client: Client, userdata: Any, message: MQTTMessage) -> None:
        """Take it; a broker's message must never end paho's thread."""
        try:
            came = Message(message.topic, bytes(message.payload), message.retain, self._now())
            with self._lock:
                if message.retain:
                    self._told_s = process_seconds()
                self._farm.take(came)
        except Exception as error:  # paho's thread would end, and nobody notice
            log.error("a message of a room could not be taken", exc_info=error)

    def _down(self, problem: str) -> None:
        with self._lock:
            if self._up:
                self._up, self._since_s = False, self._clock.wall_s()
            self._subscribed, self._problem = False, problem
