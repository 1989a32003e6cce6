"""What rooms tell over a broker, gathered: the newest word of each, and who watches it.

Pure: every message comes with its times. A live message is as old as its arrival is long ago on
the steady clock; a retained one was said when it says so itself. Nothing is dropped silently:
what can't be read stands, with its reason, until its topic tells something better.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from monitor.farm.standing import (
    CLOCK_APART_S,
    SILENT_FRAMES,
    SILENT_SPARE_S,
    UNREAD_CLAIM_S,
    Claimant,
    Doubt,
    FarmView,
    Hearing,
    Refused,
    RoomStanding,
)
from monitor.neighbours.topics import Part, RoomTopic, Topics
from monitor.room_messages import RoomClaim
from monitor.room_summary import LONGEST_NAME, RoomSummary, SummaryRefusedError, from_json

MOST_ROOMS, MOST_CLAIMS, MOST_REFUSED = 200, 8, 20
#: JSON of all summaries together; rooms send 64 KiB at most.
MOST_BYTES = 16 << 20


@dataclass(frozen=True, slots=True)
class Moment:
    """A time on three clocks: the steady one of the watch, which a rehearsal drives faster, the
    steady one of life, by which claims are told again, and the one on the wall [s]."""

    monotonic_s: float
    life_s: float
    wall_s: float


@dataclass(frozen=True, slots=True)
class Message:
    """A message as it came: `retained` where the broker had kept it from before."""

    topic: str
    payload: bytes
    retained: bool
    came: Moment


@dataclass(slots=True)
class _Room:
    """What is known of a room; `said_s` is the moment of its last word on the steady clock."""

    summary: RoomSummary | None = None
    size: int = 0
    said_s: float = 0.0
    clock_ahead_s: float | None = None
    refused: Refused | None = None
    claims: dict[str, Claimant] = field(default_factory=dict)
    fresh: set[str] = field(default_factory=set)


class Farm:
    """All rooms under one prefix."""

    def __init__(self, topics: Topics) -> None:
        self._topics = topics
        self._rooms: dict[str, _Room] = {}
        self._refused: dict[str, Refused] = {}
        self._left_out: set[str] = set()
        self.changes = 0

    def take(self, message: Message) -> None:
        """A message came. Never raises for what is in it."""
        self.changes += 1
        topic = self._topics.parse(message.topic)
        if topic is None or topic.part not in (Part.SUMMARY, Part.CLAIM):
            self._stray(message, Doubt.UNKNOWN_TOPIC, "no topic of a room's summary or claim")
            return
        if topic.room not in self._rooms and not self._may_join(message, topic):
            return
        room = self._rooms.setdefault(topic.room, _Room())
        if topic.part is Part.SUMMARY:
            self._summary(room, topic.room, message)
        else:
            self._claim(room, topic, message)
        if room.summary is None and room.refused is None and not room.claims:
            del self._rooms[topic.room]

    def _may_join(self, message: Message, topic: RoomTopic) -> bool:
        if not message.payload:
            return False
        if len(topic.room) > LONGEST_NAME or len(topic.name) > LONGEST_NAME:
            self._stray(message, Doubt.UNKNOWN_TOPIC, f"a name over {LONGEST_NAME} signs")
        elif len(self._rooms) >= MOST_ROOMS:
            if len(self._left_out) < MOST_ROOMS:
                self._left_out.add(topic.room)
            self._stray(message, Doubt.TOO_MANY_ROOMS, f"over {MOST_ROOMS} are shown")
        else:
            self._left_out.discard(topic.room)
            return True
        return False

    def _summary(self, room: _Room, name: str, message: Message) -> None:
        if not message.payload:  # taken off the broker by a person
            room.summary, room.size, room.refused = None, 0, None
            return
        try:
            told = RoomSummary.from_json(message.payload)
        except SummaryRefusedError as error:
            room.refused = _refused(message, error.reason, error.detail)
            return
        if told.room != name:
            room.refused = _refused(message, Doubt.OTHER_ROOM, f"it is from {told.room[:80]}")
            return
        size = len(message.payload)
        if sum(one.size for one in self._rooms.values()) - room.size + size > MOST_BYTES:
            detail = f"all rooms together over {MOST_BYTES >> 20} MiB"
            room.refused = _refused(message, Doubt.TOO_MUCH, detail)
            return
        room.refused = None
        if message.retained and _known(room.summary, told):
            return
        age_s = max(0.0, message.came.wall_s - told.at_s) if message.retained else 0.0
        room.summary, room.size = told, size
        room.said_s = message.came.monotonic_s - age_s
        ahead_s = told.at_s + max(0.0, told.monitor.lag_s) - message.came.wall_s
        room.clock_ahead_s = None if message.retained and ahead_s < CLOCK_APART_S else ahead_s

    def _claim(self, room: _Room, topic: RoomTopic, message: Message) -> None:
        if not message.payload:
            room.claims.pop(topic.name, None)
            room.fresh.discard(topic.name)
            return
        if topic.name not in room.claims and len(room.claims) >= MOST_CLAIMS:
            self._stray(message, Doubt.TOO_MANY_CLAIMS, f"over {MOST_CLAIMS} to one room")
            return
        room.fresh.add(topic.name)
        try:
            told = from_json(RoomClaim, message.payload)
        except SummaryRefusedError as error:
            room.claims[topic.name] = Claimant(
                topic.name, None, None, message.came.life_s, UNREAD_CLAIM_S
            )
            self._stray(message, error.reason, error.detail)
            return
        self._refused.pop(message.topic, None)
        room.claims[topic.name] = Claimant(
            topic.name, told.host, told.since_s, message.came.life_s, told.lasts_s
        )

    def _stray(self, message: Message, reason: str, detail: str) -> None:
        self._refused.pop(message.topic, None)
        while len(self._refused) >= MOST_REFUSED:
            del self._refused[next(iter(self._refused))]
        self._refused[message.topic] = _refused(message, reason, detail)

    def subscribed(self) -> None:
        """The broker will now tell again all that it keeps."""
        for room in self._rooms.values():
            room.fresh = set()

    def settled(self) -> None:
        """It has told it all: a claim that did not come again was given up meanwhile."""
        self.changes += 1
        for name, room in list(self._rooms.items()):
            room.claims = {key: one for key, one in room.claims.items() if key in room.fresh}
            if room.summary is None and room.refused is None and not room.claims:
                del self._rooms[name]

    def look(self, now: Moment, listening: bool = True) -> FarmView:
        """How every room stands at this moment.

        While nothing can be heard (`listening` is false) no claim lapses.
        """
        rooms = [_stands(name, room, now, listening) for name, room in self._rooms.items()]
        rooms.sort(key=lambda one: (one.rank, one.room.casefold(), one.room))
        return FarmView(tuple(rooms), tuple(self._refused.values()), len(self._left_out))


def _known(before: RoomSummary | None, told: RoomSummary) -> bool:
    """Whether a message that the broker kept is one heard before, or older: a broker that was
    cut off hands out what it last wrote to its disk."""
    if before is None:
        return False
    return before.instance == told.instance and told.at_s <= before.at_s


def _refused(message: Message, reason: str, detail: str) -> Refused:
    return Refused(message.topic[:200], str(reason), detail[:300], message.came.wall_s)


def _stands(name: str, room: _Room, now: Moment, listening: bool) -> RoomStanding:
    age_s = None if room.summary is None else max(0.0, now.monotonic_s - room.said_s)
    claims = [
        one
        for one in room.claims.values()
        if not listening or now.life_s - one.told_s <= one.lasts_s
    ]
    return RoomStanding(
        room=name,
        hearing=_hearing(room, age_s, bool(claims)),
        summary=room.summary,
        age_s=age_s,
        heard_s=None if age_s is None else now.wall_s - age_s,
        clock_ahead_s=room.clock_ahead_s,
        claimants=tuple(sorted(claims, key=lambda one: (one.since_s or 0.0, one.instance))),
        refused=room.refused,
    )


def _hearing(room: _Room, age_s: float | None, claimed: bool) -> Hearing:
    if not claimed:
        return Hearing.GONE
    if room.refused is not None:
        return Hearing.NOT_UNDERSTOOD
    if room.summary is None or age_s is None:
        return Hearing.NO_WORD
    due_s = SILENT_FRAMES * room.summary.every_s + SILENT_SPARE_S
    return Hearing.SILENT if age_s > due_s else Hearing.HEARD
