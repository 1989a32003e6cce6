"""A spawn lot over all rooms of a farm: is it bad in two of them, by more than chance?

A bag is called by its own room, against its own cohort. Whether the lot is at fault is asked of
counts alone: the lot's called bags against those of the strain's other lots, exactly, room by
room where the rooms hold other lots too, so that a bad room is not taken for a bad lot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from monitor.farm.lot_nouns import FarmLot, FarmLots, LotReason, LotShare, RoomLots, Side
from monitor.farm.lot_tables import Compared, Counts, compared
from monitor.room_summary import LotSummary

#: Chance, allowing for all lots looked at (Holm), at or below which a lot is told apart. What it
#: costs and finds on invented farms: `python -m tests.farm.simulated`, figures in DEVELOPERS.
LEVEL = 0.05
#: Without the room that speaks loudest the others must still speak against the lot at this
#: chance: else it is bad in one room, and nothing was seen in a second.
REST_LEVEL = 0.15
#: More bags of one lot in one room, or called bags of a strain on the farm, are not counted:
#: no room holds so many, and exact numbers of them would take seconds.
MOST_BAGS, MOST_CALLED = 5_000, 400
#: A mean excess beyond this says nothing [K].
ABSURD_K = 100.0
#: Lots in two rooms that are looked at, the largest.
MOST_LOTS = 300


def lots_over_rooms(rooms: Iterable[RoomLots]) -> FarmLots:
    """What is thought of every lot that stands in two rooms or more."""
    strains: dict[str, dict[str, dict[str, list[LotSummary]]]] = {}
    heard: dict[str, bool] = {}
    for room in rooms:
        heard[room.room] = room.heard
        for lot in room.lots:
            by_lot = strains.setdefault(_key(lot.strain), {})
            by_lot.setdefault(_key(lot.spawn_lot), {}).setdefault(room.room, []).append(lot)
    asked = [one for by_lot in strains.values() for one in _of_strain(by_lot, heard)]
    asked.sort(key=lambda one: (-sum(share.of for share in one.shares), one.name))
    found = _judged(asked[:MOST_LOTS])
    found.sort(key=lambda one: (not one.bad, one.chance if one.chance is not None else 2.0))
    return FarmLots(tuple(found), len(asked) - len(found))


def _of_strain(
    by_lot: Mapping[str, Mapping[str, Sequence[LotSummary]]], heard: Mapping[str, bool]
) -> list[_Asked]:
    """Its lots that stand in two rooms. A bag without a lot is none, but others may compare."""
    shares = {
        key: tuple(_share(room, parts, heard[room]) for room, parts in sorted(by_room.items()))
        for key, by_room in by_lot.items()
    }
    every = [one for held in shares.values() for one in held]
    totals = {side: _counts(every, side) for side in Side}
    return [
        _Asked(next(iter(by_room.values()))[0], shares[key], totals)
        for key, by_room in by_lot.items()
        if key and len(by_room) > 1
    ]


def _key(name: str) -> str:
    """People write a lot's name in two rooms in two ways: spaces and capitals don't part it."""
    return " ".join(name.split()).casefold()


def _share(room: str, parts: Sequence[LotSummary], heard: bool) -> LotShare:
    bags = _sum(one.bags for one in parts)
    warm = min(_sum(one.called_warm for one in parts), bags)
    cold = min(_sum(one.called_cold for one in parts), bags - warm)
    judged = min(_sum(one.judged for one in parts), bags)
    known = [
        (one.mean_excess_k, min(one.judged, MOST_BAGS))
        for one in parts
        if one.mean_excess_k is not None and abs(one.mean_excess_k) < ABSURD_K
    ]
    weight = sum(count for _, count in known)
    return LotShare(
        room=room,
        bags=bags,
        of=max(judged, warm + cold),
        warm=warm,
        cold=cold,
        judged=judged,
        mean_excess_k=sum(mean * count for mean, count in known) / weight if weight else None,
        apart=any(one.lot_alarm for one in parts),
        heard=heard,
    )


def _sum(counts: Iterable[int]) -> int:
    return min(sum(counts), MOST_BAGS)


@dataclass(frozen=True, slots=True)
class _Asked:
    """A lot to look at; `totals` are (called, of) of the whole strain by room."""

    first: LotSummary
    shares: tuple[LotShare, ...]
    totals: Mapping[Side, Mapping[str, Counts]]

    @property
    def name(self) -> tuple[str, str]:
        return self.first.strain, self.first.spawn_lot

    def compared(self, side: Side) -> Compared:
        """This lot against the strain's others, called that way."""
        return compared(_counts(self.shares, side), self._others(side), LEVEL)

    def beside(self, side: Side) -> Counts:
        """The other lots' bags over the farm, called that way and in all."""
        others = self._others(side).values()
        return sum(one[0] for one in others), sum(one[1] for one in others)

    def too_many(self, side: Side) -> bool:
        return sum(called for called, _ in self.totals[side].values()) > MOST_CALLED

    def _others(self, side: Side) -> dict[str, Counts]:
        own = _counts(self.shares, side)
        return {
            room: (called - own.get(room, (0, 0))[0], of - own.get(room, (0, 0))[1])
            for room, (called, of) in self.totals[side].items()
        }


def _counts(shares: Iterable[LotShare], side: Side) -> dict[str, Counts]:
    """(called, of) by room."""
    found: dict[str, Counts] = {}
    for one in shares:
        called, of = found.get(one.room, (0, 0))
        found[one.room] = called + one.called(side), of + one.of
    return found


@dataclass(frozen=True, slots=True)
class _Best:
    """The side that speaks louder against a lot."""

    side: Side
    made: Compared
    adjusted: float


def _judged(asked: Sequence[_Asked]) -> list[FarmLot]:
    """Every lot with its reason. Chances allow for all lots and sides that could be told apart;
    which could follows from sizes and sums alone (Tarone 1990), so that it bends no chance."""
    could = [
        (index, side, made)
        for index, one in enumerate(asked)
        for side in Side
        if not one.too_many(side) and (made := one.compared(side)).least <= LEVEL
    ]
    allowed = _holm([made.chance for _, _, made in could])
    best: dict[int, _Best] = {}
    for (index, side, made), adjusted in zip(could, allowed, strict=True):
        if index not in best or made.chance < best[index].made.chance:
            best[index] = _Best(side, made, adjusted)
    return [_told(one, best.get(index)) for index, one in enumerate(asked)]


def _told(asked: _Asked, best: _Best | None) -> FarmLot:
    warm = sum(one.warm for one in asked.shares) >= sum(one.cold for one in asked.shares)
    side = best.side if best else (Side.WARM if warm else Side.COLD)
    others = best.made.others if best else asked.beside(side)
    return FarmLot(
        spawn_lot=asked.first.spawn_lot,
        strain=asked.first.strain,
        reason=_reason(asked, side, best),
        side=side,
        shares=tuple(sorted(asked.shares, key=lambda one: -one.called(side) / max(one.of, 1))),
        others_called=others[0],
        others=others[1],
        chance=best.made.chance if best else None,
        adjusted=best.adjusted if best else None,
        by_room=best.made.by_room if best else False,
        loud=_loud(best),
    )


def _loud(best: _Best | None) -> frozenset[str]:
    """Rooms whose called bags speak against the lot even alone."""
    alone = best.made.alone if best else {}
    return frozenset(room for room, chance in alone.items() if chance <= LEVEL)


def _reason(asked: _Asked, side: Side, best: _Best | None) -> LotReason:
    found = best is not None and best.adjusted <= LEVEL
    if best is not None and found and best.made.rest <= REST_LEVEL:
        return LotReason.CALLED
    apart = {one.room for one in asked.shares if one.apart}
    if apart and len(apart | _loud(best)) > 1:
        return LotReason.APART
    if found:
        return LotReason.ONE_ROOM
    quiet = not any(one.warm or one.cold for one in asked.shares)
    return LotReason.LIKE_OTHERS if best is not None or quiet else _untold(asked, side)


def _untold(asked: _Asked, side: Side) -> LotReason:
    """Why nothing can be said of its called bags."""
    if asked.too_many(side):
        return LotReason.TOO_MANY
    return LotReason.TOO_FEW if asked.beside(side)[1] else LotReason.NO_OTHERS


def _holm(chances: Sequence[float]) -> list[float]:
    """Chances allowing for how many there are: the share of farms with any false one stays
    below the level (Holm 1979)."""
    order = sorted(range(len(chances)), key=lambda index: chances[index])
    result, least = [1.0] * len(chances), 0.0
    for rank, index in enumerate(order):
        least = max(least, min(1.0, chances[index] * (len(chances) - rank)))
        result[index] = least
    return result
