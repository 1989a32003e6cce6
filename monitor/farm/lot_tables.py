"""One lot's called bags against other lots' of the strain, room by room or over the farm."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import prod

from monitor.review.exact import Table, more_lost, more_lost_within

#: Bags called, and bags that could have been.
Counts = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Compared:
    """`chance` of as many called bags in the lot by luck, and the `least` it could have been.

    `rest` is the chance without the room that speaks loudest, `alone` that of each room by
    itself, `others` what the lot was compared with. `by_room` tells that this was done within
    rooms; else those may stand in other rooms.
    """

    chance: float
    least: float
    rest: float
    alone: Mapping[str, float]
    others: Counts
    by_room: bool


def compared(lot: Mapping[str, Counts], others: Mapping[str, Counts], level: float) -> Compared:
    """The lot against the others of its strain, both by room.

    Within rooms where two rooms or more hold both and could tell at that `level`; otherwise all
    rooms are one table, and a bad room can pass for a bad lot. Which of the two is told by sizes
    and sums, never by where the calls fell.
    """
    within = _within(lot, others)
    if len(within) > 1 and _least(list(within.values())) <= level:
        alone = {room: more_lost(table) for room, table in within.items()}
        loudest = min(alone, key=lambda room: alone[room])
        rest = [table for room, table in within.items() if room != loudest]
        strata = list(within.values())
        return Compared(
            chance=more_lost_within(strata),
            least=_least(strata),
            rest=more_lost_within(rest),
            alone=alone,
            others=_sum(others[room] for room in within),
            by_room=True,
        )
    beside = _sum(others.values())
    whole = _table(_sum(lot.values()), beside)
    alone = {room: more_lost(_table(counts, beside)) for room, counts in lot.items()}
    loudest = min(alone, key=lambda room: alone[room])
    left = _sum(counts for room, counts in lot.items() if room != loudest)
    return Compared(
        chance=more_lost(whole),
        least=_least([whole]),
        rest=more_lost(_table(left, beside)),
        alone=alone,
        others=beside,
        by_room=False,
    )


def _within(lot: Mapping[str, Counts], others: Mapping[str, Counts]) -> dict[str, Table]:
    """A table for each room that holds bags of the lot and of others."""
    return {
        room: _table(counts, others[room])
        for room, counts in lot.items()
        if counts[1] and room in others and others[room][1]
    }


def _table(lot: Counts, others: Counts) -> Table:
    return Table(lot[0], lot[1] - lot[0], others[0], others[1] - others[0])


def _sum(counts: Iterable[Counts]) -> Counts:
    called = of = 0
    for one in counts:
        called, of = called + one[0], of + one[1]
    return called, of


def _least(strata: Sequence[Table]) -> float:
    """The smallest chance that these margins could give: all calls that fit inside."""
    return prod(table.weights[-1] / sum(table.weights) for table in strata)
