"""Whose the room's name is: the rules by which monitors that claim it come to one of them.

Pure: handed what came and the time, on a steady clock [s of life]. Each monitor keeps a claim on
the broker and tells it again and again. The lowest rank keeps the name, the others stand aside:
they take their claims away, watch, and take the place once its claim is emptied or has lapsed.

Two runs on copies of one store share a topic. A kept claim of ours by another run is our own,
from before a restart; one that is told while we listen is a twin's.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from monitor.room_messages import RoomClaim
from monitor.room_summary import SummaryRefusedError, from_json

#: So long others are heard before a room speaks; whoever has the name answers at once.
LISTEN_S, LONGEST_LISTEN_S = 2.0, 10.0
#: Who has not heard its own claim back after so many times that is not given it.
DEAF_LISTENS = 2.5
#: Others that are remembered; one at a time is the rule.
MOST_OTHERS = 8
#: Between two tellings, also where somebody takes our claim away each time: who listens for so
#: many times that hears it.
LEAST_APART_LISTENS = 0.5


class Place(StrEnum):
    """Where a monitor stands towards the name of its room."""

    LISTENING = "listening"
    HOLDING = "holding"
    ASIDE = "aside"


@dataclass(frozen=True, slots=True)
class Other:
    """Another monitor's claim, and when it lapses unless told again [s of life]."""

    claim: RoomClaim
    lapses_s: float


class Claims:
    """Our claim among the others'. `begin` with each connection, `listen` once it is subscribed,
    then `came` and `look`."""

    def __init__(self, own: RoomClaim, listen_s: float = LISTEN_S) -> None:
        self.own = own
        self.listen_s = listen_s
        self.place = Place.LISTENING
        self.others: dict[tuple[str, str], Other] = {}
        self._lapsed: list[str] = []
        self._stands = False  # whether our claim is on the broker, as far as we know
        self._heard_back = self._left = False
        self._began_s = self._until_s = self._tell_s = self._told_s = 0.0

    def begin(self, now_s: float) -> None:
        """A new connection: the others are heard anew."""
        self.others.clear()
        self._stands = False
        self.listen(now_s)

    def listen(self, now_s: float) -> None:
        """The broker tells us all claims from now on; some may have come before it said so."""
        self.place = Place.LISTENING
        self._heard_back = self._left = False
        self._began_s = self._tell_s = now_s
        self._until_s = now_s + self.listen_s

    def hears(self, now_s: float, quiet_s: float) -> None:
        """The broker still tells what it keeps: listen on until it is quiet, within bounds."""
        longest_s = self._began_s + LONGEST_LISTEN_S
        self._until_s = min(max(self._until_s, now_s + quiet_s), longest_s)

    def deaf(self, now_s: float) -> bool:
        """Whether the broker does not give us our own claim, as it must to all who listen."""
        waited_s = now_s - self._began_s
        listening = self.place is Place.LISTENING and not self._heard_back
        return listening and waited_s > DEAF_LISTENS * self.listen_s

    @property
    def holder(self) -> RoomClaim | None:
        """Who has the name before us; None where it is ours."""
        best = min(self.others.values(), key=lambda one: one.claim.rank, default=None)
        return best.claim if best is not None and best.claim.rank < self.own.rank else None

    def came(self, instance: str, payload: bytes, kept: bool, now_s: float) -> str:
        """A claim came, `kept` by the broker from before; why it is none, empty where it is."""
        if not payload:
            self._emptied(instance, now_s)
            return ""
        try:
            claim = from_json(RoomClaim, payload)
        except SummaryRefusedError as error:
            self._tell_again(instance, now_s)
            return str(error)
        if claim.instance != instance or claim.room != self.own.room:
            self._tell_again(instance, now_s)
            return "it names another monitor or room than its topic"
        if instance == self.own.instance and claim.run == self.own.run:
            self._heard_back = self._stands = True
        elif instance != self.own.instance or not kept:
            self._another(claim, now_s)
        return ""

    def _another(self, claim: RoomClaim, now_s: float) -> None:
        key = claim.instance, claim.run
        for known in [one for one in self.others if one[0] == key[0] and one != key]:
            del self.others[known]  # one topic holds one claim: this run took it over
        self.others[key] = Other(claim, now_s + claim.lasts_s)
        if len(self.others) > MOST_OTHERS:
            del self.others[max(self.others, key=lambda one: self.others[one].claim.rank)]
        if claim.instance == self.own.instance:
            self._stands = False
            self._tell_again(claim.instance, now_s)

    def _emptied(self, instance: str, now_s: float) -> None:
        for known in [one for one in self.others if one[0] == instance]:
            del self.others[known]
            self._left = True
        if instance == self.own.instance:
            self._stands = False
            self._tell_again(instance, now_s)

    def _tell_again(self, instance: str, now_s: float) -> None:
        """Somebody else wrote where our claim stands."""
        if instance == self.own.instance:
            earliest_s = self._told_s + LEAST_APART_LISTENS * self.listen_s
            self._tell_s = min(self._tell_s, max(now_s, earliest_s))

    def look(self, now_s: float) -> Place:
        """Where we stand now: what was not told again lapses, the lowest rank has the name.

        Once another is gone the room is listened to anew, as it may have spoken meanwhile.
        """
        for key, other in list(self.others.items()):
            if now_s >= other.lapses_s:
                del self.others[key]
                self._left = True
                if key[0] != self.own.instance:
                    self._lapsed.append(key[0])
        if self.holder is not None:
            self.place = Place.ASIDE
        elif self.place is Place.ASIDE or (self.place is Place.HOLDING and self._left):
            self.listen(now_s)
        elif self.place is Place.LISTENING and self._heard_back and now_s >= self._until_s:
            self.place = Place.HOLDING
        self._left = False
        return self.place

    def tells(self, now_s: float) -> bool:
        """Whether our claim is to be told now; it then counts as told."""
        if self.place is Place.ASIDE or now_s < self._tell_s:
            return False
        self._told_s, self._tell_s = now_s, now_s + self.own.keepalive_s
        return True

    def empties(self) -> list[str]:
        """Instances whose claims are to be taken off the broker now: lapsed ones; our own once
        we stand aside, but not a twin's that stands in its place."""
        gone, self._lapsed = self._lapsed, []
        if self.place is Place.ASIDE and self._stands:
            self._stands = False
            gone.append(self.own.instance)
        return gone
