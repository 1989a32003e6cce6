"""Tells a room's neighbours how it stands: a thread of its own with a connection of its own.

At each close the watch leaves what it found; the thread makes messages of it and sends what
changed. Whatever the broker does, the watch never waits. Where another monitor has the name of
the room this one stands aside: only the place on the broker is given up, people are told on.
"""

from __future__ import annotations

import logging
import random
import threading
from collections.abc import Callable
from typing import Protocol
from zoneinfo import ZoneInfo

from monitor.clock import Clock, process_seconds
from monitor.errors import StoreError
from monitor.neighbours.board import Board
from monitor.neighbours.claims import LISTEN_S, Claims, Place
from monitor.neighbours.health import HealthBook, NeighbourHealth
from monitor.neighbours.kept_claim import KeptClaim
from monitor.neighbours.line import Line
from monitor.neighbours.messages import Messages
from monitor.neighbours.picture import Closed, Teller
from monitor.neighbours.talk import CutOffError, Talk
from monitor.neighbours.topics import Topics
from monitor.room_messages import RoomClaim
from monitor.settings.schema import Settings
from monitor.settings.schema_neighbours import NeighbourSettings
from monitor.sources.mqtt_client import connect_fault

TICK_S = 0.25
FIRST_BACK_OFF_S, LONGEST_BACK_OFF_S = 1.0, 60.0
STORE_BACK_OFF_S = 5.0

_log = logging.getLogger(__name__)


class Telling(Protocol):
    """What a watch asks of whoever tells its neighbours."""

    def start(self) -> None: ...
    def stop(self, limit_s: float) -> None: ...
    def closed(self, closed: Closed) -> None: ...
    def again(self) -> None: ...
    def health(self) -> NeighbourHealth: ...


class NoNeighbours:
    """For a room that tells nobody."""

    def start(self) -> None:
        """Nothing to start."""

    def stop(self, limit_s: float) -> None:
        """Nothing to stop."""

    def closed(self, closed: Closed) -> None:
        """Nobody to tell."""

    def again(self) -> None:
        """Nothing to keep."""

    def health(self) -> NeighbourHealth:
        return NeighbourHealth()


def build_neighbours(settings: Settings, clock: Clock, say: Callable[[str], None]) -> Telling:
    """Whoever tells the neighbours, as the settings have it."""
    if settings.neighbours is None:
        return NoNeighbours()
    return Neighbours(settings, settings.neighbours, clock, say)


class Neighbours:
    """Tells until it is stopped."""

    def __init__(
        self,
        settings: Settings,
        own: NeighbourSettings,
        clock: Clock,
        say: Callable[[str], None],
        listen_s: float = LISTEN_S,
    ) -> None:
        """`listen_s` is how long others are heard before the room speaks [s of life]."""
        self._listen_s = listen_s
        self._room = settings.room
        self._page = settings.page_for_others
        self._every_s = settings.frames.length_s
        self._own = own
        self._clock = clock
        self._topics = Topics(own.prefix)
        self._kept_claim = KeptClaim(settings, own, clock)
        self._book = HealthBook(settings.room.name, clock.wall_s(), say)
        self._board = Board()
        self._newest: Closed | None = None
        self._seen: Closed | None = None
        self._shown_s: float | None = None
        self._fault = ""
        self._failures = 0
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="neighbours", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self, limit_s: float) -> None:
        """Take our claim away and end; what hangs is left behind."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(limit_s)

    def closed(self, closed: Closed) -> None:
        """A frame is closed and stored; only the newest waits to be told."""
        self._newest = closed

    def again(self) -> None:
        """The store is another file now: our claim is to be kept there too."""
        self._kept_claim.again()

    def health(self) -> NeighbourHealth:
        return self._book.now

    # -- its own thread --------------------------------------------------------------------

    def _run(self) -> None:
        claim = self._claim()
        if claim is None:
            return
        claims = Claims(claim, self._listen_s)
        messages = Messages(self._teller(claim), self._topics, self._own.bags, self._own.senml)
        while not self._stopping.is_set():
            try:
                self._connection(claims, messages)
            except CutOffError as error:
                self._book.away(error.detail, error.refused, self._clock.wall_s())
            except Exception as error:  # whatever it is, the next connection may do
                _log.error("neighbours: a connection failed", exc_info=error)
                self._book.away(repr(error), False, self._clock.wall_s())
            self._stopping.wait(self._back_off_s())

    def _claim(self) -> RoomClaim | None:
        """Our claim; None where we are stopped before the store can be asked."""
        while not self._stopping.is_set():
            try:
                return self._kept_claim.claim()
            except StoreError as error:
                self._book.away(str(error), False, self._clock.wall_s())
                self._stopping.wait(STORE_BACK_OFF_S)
        return None

    def _teller(self, claim: RoomClaim) -> Teller:
        return Teller(
            site=claim.site,
            room=claim.room,
            instance=claim.instance,
            band_low_c=self._room.band_low_c,
            band_high_c=self._room.band_high_c,
            units=self._room.units,
            zone=ZoneInfo(self._room.timezone),
            page=self._page,
            every_s=self._every_s,
        )

    def _connection(self, claims: Claims, messages: Messages) -> None:
        """One connection from its beginning to its end. Raises CutOffError."""
        claim_topic = self._topics.claim(claims.own.room, claims.own.instance)
        try:
            line = Line(self._own, claim_topic)
        except (OSError, ValueError) as error:
            text = f"neighbours.tls: {error}; mend the certificate files"
            raise CutOffError(text, refused=True) from error
        try:
            self._open(line)
            talk = Talk(line, self._topics, claims, self._board, process_seconds())
            while not self._stopping.is_set():
                talk.turn(line.next(TICK_S), process_seconds())
                self._show(messages)
                self._note(talk, claims)
                self._kept_claim.look()
            talk.goodbye(process_seconds())
        finally:
            line.end()

    def _open(self, line: Line) -> None:
        try:
            line.open()
        except (OSError, ValueError) as error:
            told = connect_fault(line.where, error)
            raise CutOffError(told, refused=line.distrusts(error)) from error

    def _show(self, messages: Messages) -> None:
        """Make messages of the newest close, if there is one that was not shown."""
        closed = self._newest
        if closed is None or closed is self._seen:
            return
        self._seen = closed
        try:
            made = messages.at(closed, self._clock.wall_s())
        except Exception as error:  # of one close; the next is told if it can be
            expected = isinstance(error, StoreError)
            _log.error("neighbours: a close is not told: %s", error, exc_info=not expected)
            self._fault = f"the last close could not be told: {error if expected else repr(error)}"
            return
        self._fault = ""
        self._board.show(made.kept)
        for pack in made.packs:
            self._board.pack(self._topics.senml(self._room.name), pack)
        self._shown_s = closed.outcome.frame.end_s

    def _note(self, talk: Talk, claims: Claims) -> None:
        """How we get on, for who asks."""
        now_s = self._clock.wall_s()
        holding = claims.place is Place.HOLDING
        waiting = self._board.waiting if holding else 0
        told_s = None if self._board.keeping or not holding else self._shown_s
        problem = talk.problem(process_seconds()) or self._fault
        self._book.connected(problem, waiting, told_s, now_s)
        if talk.settled:
            self._failures = 0
            self._book.held_by(claims.holder, now_s)

    def _back_off_s(self) -> float:
        """How long to stay away [s of life]: longer each time, and not all rooms at once."""
        self._failures += 1
        longest_s = min(FIRST_BACK_OFF_S * 2.0 ** min(self._failures - 1, 16), LONGEST_BACK_OFF_S)
        return longest_s * random.uniform(0.5, 1.0)
