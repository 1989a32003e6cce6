"""Core limits of a strain held against what the heat really did, and a proposal for one of them.

A call of overheating is answered, if it is any good: the room is cooled and the bag comes
through. So a healthy bag that was called counts as called for nothing only where it bore the
limit's whole duration, or where nobody was told of it in fact; else nobody can say (our rule).
A call that the room's alarm holds back costs nobody a walk, and is none for nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from monitor.judge.strain import CoreLimit, Strain
from monitor.review.heat_scan import Cores, cores, first_heated
from monitor.review.held_back import held_back
from monitor.review.outcomes import End, Ending
from monitor.review.tune import Room, run_numbers
from monitor.review.tune_choice import Choice, Least, choose
from monitor.review.tune_rows import MAYBE_WEIGHT, Row, Rows, Side, sides
from monitor.review.tune_score import Array, Costs, Spoilt, own_column, trials_of

#: By how much one limit is moved, and by what factor its duration. Further down than
#: `reach.NEAR_K` leaves room for nothing is known.
SHIFTS_K = (-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
FACTORS = (0.25, 0.5, 1.0, 2.0, 4.0)
#: A core this close to its hottest has done its harm: a call after that comes too late.
HARM_WITHIN_K = 0.5
#: A healthy bag whose core came this close to that of the coolest cooked one went as warm.
AS_WARM_K = 1.0
LEAST = Least(
    healthy=10,
    bad_word="cooked",
    healthy_word="healthy bags that went as warm",
    anchor_word="the present limits",
)
SHORTEST_S, LONGEST_S = 600.0, 60 * 86400.0


@dataclass(frozen=True, slots=True)
class Limits:
    """A strain's core limits; `moved` says which of them differs from the present, and by how
    much [K] and what factor of its duration."""

    limits: tuple[CoreLimit, ...]
    moved: tuple[int, float, float] | None = None


@dataclass(frozen=True)
class HeatTuning:
    """Everything there is to say of a strain's core limits. Counts are of bags that came in
    reach of a limit; `saved` healthy ones that were called at present and bore nothing out,
    `held` healthy ones whose call the room's alarm held back from first to last, `as_warm`
    healthy ones that went as warm as a cooked one; `unseen` cooked ones of which no core ever
    came near."""

    present: Row[Limits]
    proposed: Row[Limits] | None
    left_out: Row[Limits] | None
    choice: Choice | None
    cooked: int
    as_warm: int
    saved: int
    held: int
    unseen: tuple[str, ...]
    sides: tuple[Side, ...]


def candidates(present: tuple[CoreLimit, ...]) -> tuple[Limits, ...]:
    """The present limits, then every move of a single one that leaves them in order."""
    found = [Limits(present)]
    for index, limit in enumerate(present):
        for shift_k in SHIFTS_K:
            for factor in FACTORS:
                lasts_s = limit.duration_s * factor
                new = CoreLimit(round(limit.core_c + shift_k, 2), lasts_s)
                moved = (*present[:index], new, *present[index + 1 :])
                plain = shift_k == 0.0 and factor == 1.0
                if not plain and SHORTEST_S <= lasts_s <= LONGEST_S and _in_order(moved):
                    found.append(Limits(moved, (index, shift_k, factor)))
    return tuple(found)


def _in_order(limits: tuple[CoreLimit, ...]) -> bool:
    """As `strains.yaml` asks for: each warmer than the last and borne no longer."""
    return all(
        cooler.core_c < warmer.core_c and cooler.duration_s >= warmer.duration_s
        for cooler, warmer in pairwise(limits)
    )


def tune_heat(
    rooms: Sequence[Room], strain: str, strains: Mapping[str, Strain], costs: Costs | None
) -> HeatTuning:
    """Try every candidate on every bag that came in reach of a limit."""
    kept = cores([room.account for room in rooms], strain, strains)
    tried = candidates(strains[strain].core_limits)
    ends = [rooms[room].endings.get(bag, Ending(bag, End.UNKNOWN)) for room, bag in kept.bags]
    healthy = [place for place, one in enumerate(ends) if one.end is End.HEALTHY]
    held = held_back(kept, [room.held_s for room in rooms], healthy)
    called_s, borne = _calls(kept, tried, held)
    judged = _Judged(rooms, kept, ends, called_s, borne)
    anyhow_s, _ = _calls(kept, tried[:1])
    runs = run_numbers(rooms, kept.bags) if kept.bags else np.zeros(0, dtype=np.intp)
    trials = trials_of(called_s, judged.spoilt, judged.false, judged.healthy, runs)
    money = None if costs is None else replace(costs, neighbour_per_day=0.0)
    rows = Rows(trials, tried, money)
    choice = proposed = left_out = None
    if money is not None:
        choice = choose(trials, _places(tried), money, 0, LEAST, judged.as_warm)
        proposed = rows.of(choice.index)
        left_out = Rows(own_column(trials, choice.left_out), tried, money).of(0)
    after = choice.index if choice else 0
    return HeatTuning(
        present=rows.of(0),
        proposed=proposed,
        left_out=left_out,
        choice=choice,
        cooked=len(judged.spoilt),
        as_warm=int(judged.as_warm.sum()),
        saved=judged.saved,
        held=int((np.isfinite(anyhow_s[:, 0]) & np.isinf(called_s[:, 0])).sum()),
        unseen=_unseen(rooms, strain, kept),
        sides=sides(
            [(rooms[room].account.name, bag) for room, bag in kept.bags],
            ends,
            called_s[:, 0],
            called_s[:, after],
            kept.course,
        ),
    )


def _calls(
    kept: Cores, tried: Sequence[Limits], held: NDArray[np.bool_] | None = None
) -> tuple[Array, NDArray[np.bool_]]:
    """When each set of limits first calls each bag, and whether one of them was borne out."""
    each = sorted(
        {(one, one is limits.limits[-1]) for limits in tried for one in limits.limits},
        key=lambda pair: (pair[0].core_c, pair[0].duration_s, pair[1]),
    )
    alone_s, alone_borne = first_heated(
        kept, [one for one, _ in each], [top for _, top in each], held
    )
    number = {pair: index for index, pair in enumerate(each)}
    called_s = np.empty((len(kept.bags), len(tried)))
    borne = np.empty(called_s.shape, dtype=np.bool_)
    for column, limits in enumerate(tried):
        which = [number[one, one is limits.limits[-1]] for one in limits.limits]
        called_s[:, column] = alone_s[:, which].min(axis=1)
        borne[:, column] = alone_borne[:, which].any(axis=1)
    return called_s, borne


class _Judged:
    """The bags of a strain in reach of a limit, with their ends beside what would have been."""

    def __init__(
        self,
        rooms: Sequence[Room],
        kept: Cores,
        ends: Sequence[Ending],
        called_s: Array,
        borne: NDArray[np.bool_],
    ) -> None:
        told_s = np.array([rooms[room].heated_s.get(bag, np.inf) for room, bag in kept.bags])
        self.spoilt = [
            Spoilt(
                place,
                _too_late_s(one, kept.hottest_s(place, HARM_WITHIN_K)),
                told_s[place],
                1.0 if one.end is End.COOKED else MAYBE_WEIGHT,
            )
            for place, one in enumerate(ends)
            if one.cooked
        ]
        self.healthy = [place for place, one in enumerate(ends) if one.end is End.HEALTHY]
        told = np.isfinite(told_s[self.healthy])[:, None]
        called = np.isfinite(called_s[self.healthy])
        self.false = called & (borne[self.healthy] | ~told)
        self.saved = int((called[:, :1] & ~self.false[:, :1]).sum())
        tops_c = np.array([kept.course(place)[1].max() for place in range(len(kept.bags))])
        bar_c = min((tops_c[one.place] for one in self.spoilt), default=np.inf) - AS_WARM_K
        self.as_warm = tops_c[self.healthy] >= bar_c


def _too_late_s(one: Ending, hottest_s: float) -> float:
    """From when on a call no longer helps a bag that cooked."""
    return min([hottest_s, *(at for at in (one.found_s, one.left_s) if at is not None)])


def _places(tried: Sequence[Limits]) -> Array:
    """Where each candidate lies: by limit, how far it was moved [K] and by what power of two its
    duration: (tried, 2 limits)."""
    found = np.zeros((len(tried), 2 * len(tried[0].limits)))
    for row, one in enumerate(tried):
        if one.moved is not None:
            index, shift_k, factor = one.moved
            found[row, 2 * index : 2 * index + 2] = shift_k, np.log2(factor)
    return found


def _unseen(rooms: Sequence[Room], strain: str, kept: Cores) -> tuple[str, ...]:
    """Bags booked as cooked whose core, as far as bagwatt could tell, never came near a limit."""
    seen = set(kept.bags)
    strain_of = {
        name: bag.strain
        for room in rooms
        for frame in room.account.frames
        for name, bag in frame.bags.items()
    }
    return tuple(
        sorted(
            name
            for number, room in enumerate(rooms)
            for name, one in room.endings.items()
            if one.cooked and strain_of.get(name) == strain and (number, name) not in seen
        )
    )
