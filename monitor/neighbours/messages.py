"""All that is to stand on the broker of a room, made anew at each close from its store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from monitor.neighbours.picture import Closed, Picture, Teller, gravity
from monitor.neighbours.senml import Packs
from monitor.neighbours.standings import alarms_of, standings_of, worth_telling
from monitor.neighbours.summary import summary_of
from monitor.neighbours.topics import Topics, sendable
from monitor.room_messages import BagStanding, RoomAlarm
from monitor.room_summary import to_json
from monitor.store import Reader, open_reader
from monitor.store.in_room import room_book
from monitor.store.measures import messages_due
from monitor.values import Bag

#: Alarms with a message of their own, the gravest; so many mean that something else is wrong.
MOST_ALARM_MESSAGES = 1000


@dataclass(frozen=True, slots=True)
class Made:
    """Of one close: all that is to stand, by topic, and packs of SenML that nobody keeps."""

    kept: dict[str, bytes]
    packs: list[bytes]


class Messages:
    """Makes the messages of one room. Use it in one thread."""

    def __init__(self, teller: Teller, topics: Topics, bags: bool, senml: bool = False) -> None:
        """`bags`: whether each has a message of its own; `senml`: whether packs go out too."""
        self._teller = teller
        self._topics = topics
        self._with_bags = bags
        self._packs = Packs(teller.room) if senml else None
        self._book: tuple[Path, int, Mapping[str, Bag]] | None = None
        self._told: dict[str, BagStanding] = {}
        self._written: dict[str, bytes] = {}

    def at(self, closed: Closed, now_s: float) -> Made:
        """What is to be told of a close. Raises StoreError."""
        with open_reader(closed.path) as store:
            bags = self._in_room(store)
            packs = [] if self._packs is None else self._packs.at(store, closed, bags)
            picture = Picture.of(
                closed,
                bags,
                store.standing(),
                messages_due(store, now_s),
                now_s - closed.outcome.frame.end_s,
            )
        return Made(self.of(picture), packs)

    def of(self, picture: Picture) -> dict[str, bytes]:
        """The messages of a picture by topic, the weightiest first."""
        room, topics = self._teller.room, self._topics
        found = {topics.summary(room): summary_of(self._teller, picture).to_json()}
        alarms = alarms_of(self._teller, picture)
        for one in sorted(picture.alarms, key=gravity)[:MOST_ALARM_MESSAGES]:
            number = one.raised.alarm_id
            found[topics.alarm(room, number)] = to_json(RoomAlarm, alarms[number])
        if self._with_bags:
            found |= {topics.bag(room, code): text for code, text in self._bags(picture).items()}
        return {topic: text for topic, text in found.items() if sendable(topic)}

    def _bags(self, picture: Picture) -> dict[str, bytes]:
        """What each bag's message says; one that need not move stays as it was written."""
        before, written = self._told, self._written
        self._told = worth_telling(before, standings_of(self._teller, picture))
        self._written = {
            code: written[code] if standing is before.get(code) else to_json(BagStanding, standing)
            for code, standing in self._told.items()
        }
        return self._written

    def _in_room(self, store: Reader) -> Mapping[str, Bag]:
        """The bags in the room, read again when the journal has grown."""
        number = store.mark()[2]
        if self._book is None or self._book[:2] != (store.path, number):
            self._book = store.path, number, room_book(store).in_room
        return self._book[2]
