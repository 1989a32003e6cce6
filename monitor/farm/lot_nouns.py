"""What is said of a spawn lot that stands in several rooms."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from monitor.room_summary import LotSummary


class Side(StrEnum):
    """Which way bags were called."""

    WARM = "warm"
    COLD = "cold"


class LotReason(StrEnum):
    """The single named reason of what is said of a lot over rooms."""

    CALLED = "more bags called than of other lots, in two rooms"
    APART = "apart as a whole in one room, apart or called in another"
    ONE_ROOM = "bad in one room only"
    LIKE_OTHERS = "no more bags called than chance explains"
    TOO_FEW = "too few bags called to tell"
    NO_OTHERS = "no other lot of the strain to compare with"
    TOO_MANY = "too many bags called to compare lots"


#: The reasons that make a lot bad in two rooms.
BAD = frozenset({LotReason.CALLED, LotReason.APART})


@dataclass(frozen=True, slots=True)
class RoomLots:
    """What a room says of its lots; `heard` tells whether it is heard now, or was before."""

    room: str
    lots: tuple[LotSummary, ...]
    heard: bool = True


@dataclass(frozen=True, slots=True)
class LotShare:
    """The part of a lot that stands in one room, all its sessions together.

    `of` are the bags that could be called; `mean_excess_k` over `judged` bags [K], None where
    none is. `apart` tells that the room says `lot apart` of it.
    """

    room: str
    bags: int
    of: int
    warm: int
    cold: int
    judged: int
    mean_excess_k: float | None
    apart: bool
    heard: bool

    def called(self, side: Side) -> int:
        """Bags called that way."""
        return self.warm if side is Side.WARM else self.cold


@dataclass(frozen=True, slots=True)
class FarmLot:
    """A lot that stands in two rooms or more, and what is thought of it.

    `chance` that other lots' luck would give as much, `adjusted` allowing for all lots looked
    at; None where nothing could be compared. `others_called` of `others` are the bags of the
    strain's other lots it was compared with; `by_room` tells that these stand in the same rooms.
    `loud` are the rooms whose called bags speak against it even alone.
    """

    spawn_lot: str
    strain: str
    reason: LotReason
    side: Side
    shares: tuple[LotShare, ...]
    others_called: int
    others: int
    chance: float | None = None
    adjusted: float | None = None
    by_room: bool = False
    loud: frozenset[str] = frozenset()

    @property
    def bad(self) -> bool:
        """Whether it is bad in two rooms."""
        return self.reason in BAD

    @property
    def where(self) -> tuple[LotShare, ...]:
        """The rooms that speak against it, the loudest first."""
        if self.reason is LotReason.APART:
            return tuple(one for one in self.shares if one.apart or one.room in self.loud)
        return tuple(one for one in self.shares if one.called(self.side))

    @property
    def mean_excess_k(self) -> float | None:
        """Mean warmth beyond the cohorts over all judged bags of the lot [K]."""
        known = [one for one in self.shares if one.mean_excess_k is not None and one.judged]
        judged = sum(one.judged for one in known)
        if not judged:
            return None
        return sum((one.mean_excess_k or 0.0) * one.judged for one in known) / judged


@dataclass(frozen=True, slots=True)
class FarmLots:
    """Every lot in two rooms, the worst first; `left_out` were too many to look at."""

    lots: tuple[FarmLot, ...]
    left_out: int = 0

    @property
    def bad(self) -> tuple[FarmLot, ...]:
        """Those that are bad in two rooms."""
        return tuple(one for one in self.lots if one.bad)
