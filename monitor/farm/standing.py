"""How each room of a farm stands, as far as it was heard: what a person is shown."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from monitor.farm.lot_nouns import RoomLots
from monitor.room_summary import RoomSummary
from monitor.terms import Urgency

#: A room tells at each close of a frame: three may fail it, and five minutes for the last.
SILENT_FRAMES, SILENT_SPARE_S = 3.0, 300.0
#: A last word older than this says nothing of the lots any more.
LAST_WORD_S = 86_400.0
#: A claim that can't be read has lapsed once it was not told again for so long [s].
UNREAD_CLAIM_S = 600.0
#: Beyond this a room's clock is told to be wrong.
CLOCK_APART_S = 120.0


class Hearing(StrEnum):
    """How far a room is heard."""

    HEARD = "heard"
    SILENT = "silent"
    GONE = "nobody watches it"
    NO_WORD = "no word yet"
    NOT_UNDERSTOOD = "not understood"


class Doubt(StrEnum):
    """Why a message is not taken, beside the reasons of `SummaryFault`."""

    UNKNOWN_TOPIC = "unknown topic"
    OTHER_ROOM = "names another room than its topic"
    TOO_MANY_ROOMS = "too many rooms"
    TOO_MANY_CLAIMS = "too many claims"
    TOO_MUCH = "too much in all"


@dataclass(frozen=True, slots=True)
class Refused:
    """A message that was not taken: its topic, the named reason, where in it, when it came."""

    topic: str
    reason: str
    detail: str
    at_s: float


@dataclass(frozen=True, slots=True)
class Claimant:
    """Who watches a room; `host` and `since_s` are None where its claim can't be read.

    It was told at `told_s` on the steady clock of life and lapses `lasts_s` later.
    """

    instance: str
    host: str | None
    since_s: float | None
    told_s: float
    lasts_s: float


@dataclass(frozen=True, slots=True)
class RoomStanding:
    """A room as last heard.

    `age_s` of its last word [s], `heard_s` its moment; None where none was understood.
    `clock_ahead_s` how far its clock is off ours [s], None where that can't be told.
    """

    room: str
    hearing: Hearing
    summary: RoomSummary | None
    age_s: float | None
    heard_s: float | None
    clock_ahead_s: float | None
    claimants: tuple[Claimant, ...]
    refused: Refused | None

    @property
    def heard(self) -> bool:
        """Whether what it says holds now."""
        return self.hearing is Hearing.HEARD

    @property
    def open_now(self) -> int:
        return self._open(Urgency.NOW)

    @property
    def open_today(self) -> int:
        return self._open(Urgency.TODAY)

    @property
    def open_later(self) -> int:
        return self._open(Urgency.LATER)

    def _open(self, urgency: Urgency) -> int:
        """Alarms that nobody has answered."""
        alarms = self.summary.alarms if self.summary else ()
        return sum(one.urgency is urgency and not one.answered for one in alarms)

    @property
    def rank(self) -> int:
        """0 for what comes first: an unanswered `now`, then a room that is not heard or has two
        monitors, then `today`, `later` and calm ones."""
        if self.open_now:
            return 0
        if not self.heard or len(self.claimants) > 1:
            return 1
        return 2 if self.open_today else 3 if self.open_later else 4


@dataclass(frozen=True, slots=True)
class FarmView:
    """All rooms, what wants a person first; `refused` are messages of no room that is shown.

    `left_out` rooms were too many to be shown.
    """

    rooms: tuple[RoomStanding, ...]
    refused: tuple[Refused, ...]
    left_out: int

    def room_lots(self) -> tuple[RoomLots, ...]:
        """What rooms say of their lots, by the rooms' names; old words say nothing any more."""
        told = [
            RoomLots(one.room, one.summary.lots, one.heard)
            for one in self.rooms
            if one.summary is not None and (one.age_s or 0.0) <= LAST_WORD_S
        ]
        return tuple(sorted(told, key=lambda one: one.room))
