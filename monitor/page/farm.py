"""All rooms of the farm on one page, and lots that are bad in two of them.

It listens from the first look on, in a thread of its own; the watch does not wait for it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from zoneinfo import ZoneInfo

from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.clock import Clock
from monitor.farm.listener import Heard, Listener
from monitor.farm.lot_nouns import FarmLot
from monitor.farm.plain import farm_as_plain
from monitor.farm.room_words import (
    air_words,
    alarm_counts,
    alarm_lines,
    bag_words,
    heard_words,
    monitor_troubles,
)
from monitor.farm.standing import RoomStanding
from monitor.farm.words import lot_caution, lot_claim, lot_do, lot_evidence
from monitor.page.ask import Ask, problem
from monitor.page.show import Show
from monitor.settings.schema import Settings
from monitor.terms import Urgency
from monitor.words.naming import capital, clean

#: Who asks first waits so long for what the broker keeps.
FIRST_S = 2.0


@dataclass(frozen=True, slots=True)
class RoomCard:
    """A room as a card: `look` is its class, `tape` the word on it, `page` where its own is.

    `air` is empty where no word of it was understood.
    """

    name: str
    look: str
    tape: str
    page: str
    heard: str
    air: str
    bags: str
    alarms: tuple[str, ...]
    more: int
    trouble: str


@dataclass(frozen=True, slots=True)
class LotCard:
    """A lot that is bad in two rooms."""

    title: str
    evidence: str
    caution: str
    do: str


class FarmViews:
    """The page of the farm, where the settings have `neighbours`."""

    def __init__(self, settings: Settings, clock: Clock, show: Show) -> None:
        self._neighbours = settings.neighbours
        self._own = settings.room.name
        self._zone = ZoneInfo(settings.room.timezone)
        self._clock = clock
        self._show = show
        self._starting = threading.Lock()
        self._listener: Listener | None = None
        self._stopped = False

    def routes(self, route: Callable[..., Route]) -> list[Route]:
        """Every address."""
        page = [route("/farm", self.farm)] if self._neighbours else []
        return [*page, route("/api/farm", self.plain)]

    def plain(self, ask: Ask) -> Response:
        """The same for a script."""
        if self._neighbours is None:
            return problem(404, "this room has no block `neighbours` in its settings")
        heard, trouble = self._hear()
        return JSONResponse(farm_as_plain(heard)) if heard else problem(503, trouble)

    def farm(self, ask: Ask) -> Response:
        """Rooms in the order to go, lots over rooms, and what could not be understood."""
        heard, trouble = self._hear()
        rooms: list[RoomCard] = []
        if heard is not None and heard.line.settled:
            rooms = [
                room_card(one, ask.units, self._zone, heard.at_s, self._own)
                for one in heard.view.rooms
            ]
        return self._show.page(
            ask,
            "farm.html",
            title="The farm",
            rooms=rooms,
            lots=[lot_card(one, ask.units) for one in heard.lots.bad] if heard and rooms else [],
            heard=heard,
            trouble=trouble,
        )

    def stop(self) -> None:
        """Listen no more."""
        with self._starting:
            self._stopped = True
            listener, self._listener = self._listener, None
        if listener is not None:
            listener.stop()

    def _hear(self) -> tuple[Heard | None, str]:
        """What is known just now, and what keeps it from being so."""
        assert self._neighbours is not None
        with self._starting:
            fresh = self._listener is None and not self._stopped
            if fresh:
                listener = Listener(self._neighbours, self._clock)
                try:
                    listener.start()
                except (OSError, ValueError) as error:
                    return None, f"the certificates of `neighbours.tls` can't be used: {error}"
                self._listener = listener
            listening = self._listener
        if listening is None:
            return None, "the page is ending"
        heard = listening.wait_settled(FIRST_S) if fresh else listening.heard()
        return heard, heard.line.problem


def room_card(
    room: RoomStanding, units: str, zone: tzinfo, now_s: float, own: str = ""
) -> RoomCard:
    """A room in words; `own` is the name of the room whose page this is."""
    summary = room.summary
    look, tape = _tape(room)
    lines, more = alarm_lines(room, zone, now_s)
    page = "/" if room.room == own else (summary.page if summary else "")
    return RoomCard(
        name=clean(room.room),
        look=look,
        tape=tape,
        page=page,
        heard=heard_words(room, zone, now_s),
        air=air_words(summary.air, units) if summary else "",
        bags=bag_words(room),
        alarms=tuple(lines),
        more=more,
        trouble="; ".join(monitor_troubles(room)),
    )


def _tape(room: RoomStanding) -> tuple[str, str]:
    if room.open_now:
        return "now", f"{alarm_counts(room)[Urgency.NOW]} now"
    if not room.heard:
        return "away", "not heard"
    if len(room.claimants) > 1:
        return "away", "name used twice"
    for urgency in (Urgency.TODAY, Urgency.LATER):
        if (count := alarm_counts(room)[urgency]) != "0":
            return urgency.value, f"{count} {urgency}"
    return "later", "calm"


def lot_card(lot: FarmLot, units: str) -> LotCard:
    """A lot in words."""
    return LotCard(capital(lot_claim(lot)), lot_evidence(lot, units), lot_caution(lot), lot_do(lot))
