"""How the telling of a room to its neighbours gets on."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, replace

from monitor.room_messages import RoomClaim

#: A broker that is away for less is nobody's business.
FAILING_AFTER_S = 1800.0

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class NeighbourHealth:
    """Whether the broker is there and since when [s since 1970]; what is wrong, if anything.

    `refused` where waiting won't help. `told_s` is the end of the last close that the broker has
    whole, `waiting` the messages it has not yet. `holder` tells who has the room's name instead
    of us, since `aside_s`; empty where nobody does.
    """

    connected: bool = False
    since_s: float | None = None
    detail: str = ""
    refused: bool = False
    told_s: float | None = None
    waiting: int = 0
    holder: str = ""
    aside_s: float | None = None

    def failing(self, now_s: float) -> bool:
        """Worth an alarm: refused, or away for half an hour."""
        # A moment in the future was given by a clock that has been set back since.
        away_s = 0.0 if self.since_s is None else abs(now_s - self.since_s)
        return bool(self.detail) and (self.refused or away_s >= FAILING_AFTER_S)


class HealthBook:
    """Keeps the health: one thread writes, any reads `now`. What changes is said."""

    def __init__(self, room: str, began_s: float, say: Callable[[str], None]) -> None:
        self.now = NeighbourHealth(since_s=began_s)
        self._room = room
        self._say = say

    def connected(self, problem: str, waiting: int, told_s: float | None, now_s: float) -> None:
        """The connection stands; `problem` where it is of no use all the same."""
        self._warn(problem)
        self.now = replace(
            self.now,
            connected=True,
            since_s=self.now.since_s if self.now.connected else now_s,
            detail=problem,
            refused=bool(problem),
            waiting=waiting,
            told_s=self.now.told_s if told_s is None else told_s,
        )

    def away(self, detail: str, refused: bool, now_s: float) -> None:
        """The broker is not there, or the store that says who we are."""
        self._warn(detail)
        since_s = now_s if self.now.connected else self.now.since_s
        self.now = replace(
            self.now, connected=False, since_s=since_s, detail=detail, refused=refused
        )

    def held_by(self, other: RoomClaim | None, now_s: float) -> None:
        """Whose the name is, as just found; None where it is ours."""
        before = self.now.holder
        if other is None:
            if before:
                self._say(f"the name {self._room} on the broker is ours now")
            self.now = replace(self.now, holder="", aside_s=None)
            return
        holder = other.host or other.instance
        if not before:
            self._say(
                f"another monitor watches a room of this name: {self._room} on host {holder}."
                " Give one of the two another name (room.name), or stop one if both watch the same"
                " room. This one goes on watching and telling people, and leaves the name on the"
                " broker to the other"
            )
        self.now = replace(self.now, holder=holder, aside_s=self.now.aside_s or now_s)

    def _warn(self, problem: str) -> None:
        if problem != self.now.detail:
            _log.warning("neighbours: %s", problem or "told again")
