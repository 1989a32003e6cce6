"""Thresholds of a strain held against what really happened, and a proposal for better ones."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from monitor.judge.strain import Strain
from monitor.review.account import Account, bags_of
from monitor.review.outcomes import End, Ending
from monitor.review.scan import Stretches, Thresholds, first_calls, stretches
from monitor.review.tune_choice import Choice, choose
from monitor.review.tune_rows import MAYBE_WEIGHT, Row, Rows, Side, sides
from monitor.review.tune_score import Array, Costs, Spoilt, Trials, own_column, trials_of
from monitor.terms import DAY_S, HOUR_S

#: What the program ships: where few runs leave a proposal.
SHIPPED = Thresholds.of(Strain())
LEAST_EXCESS_K = (0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0)
FALSE_PER_100 = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0)
HOLD_S = (0.0, HOUR_S, 2 * HOUR_S, 4 * HOUR_S, 8 * HOUR_S)
#: Bags inoculated within this time of one another are one run.
ONE_RUN_S = 3 * DAY_S


@dataclass(frozen=True, slots=True)
class Room:
    """One account with what the book says became of its bags, and when live alarms (or the
    present settings) first called each: beside its cohort, and against its core limits.
    `held_s` are the spans [s since 1970] in which a room's alarm holds back those of its bags."""

    account: Account
    endings: Mapping[str, Ending]
    called_s: Mapping[str, float]
    heated_s: Mapping[str, float] = field(default_factory=dict)
    held_s: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Tuning:
    """Everything there is to say of a strain's thresholds."""

    strain: str
    runs: int
    bags: int
    span_s: tuple[float, float]
    ends: Mapping[End, int]
    contradictions: tuple[tuple[str, str], ...]
    too_early: tuple[str, ...]
    shipped: Row[Thresholds]
    present: Row[Thresholds]
    proposed: Row[Thresholds] | None
    left_out: Row[Thresholds] | None
    choice: Choice | None
    sides: tuple[Side, ...]
    cloud: tuple[Row[Thresholds], ...]


def candidates(present: Thresholds) -> tuple[Thresholds, ...]:
    """The 500 thresholds tried, and the present one after them."""
    grid = [Thresholds(*one) for one in product(LEAST_EXCESS_K, FALSE_PER_100, HOLD_S)]
    return (*grid, present)


def tune(
    rooms: Sequence[Room], strain: str, strains: Mapping[str, Strain], costs: Costs | None
) -> Tuning:
    """Try every candidate on every room. `strains` by name must hold every strain of the rooms.

    Raises ValueError where no bag of the strain was ever judged.
    """
    kept = stretches([room.account for room in rooms], strain, strains)
    if not kept.bags:
        raise ValueError(f"no bag of {strain} was ever judged")
    present = Thresholds.of(strains[strain])
    tried = candidates(present)
    first_s = first_calls(kept, tried)
    runs = run_numbers(rooms, kept.bags)
    seen = _Seen(rooms, kept, first_s)
    trials = seen.trials(runs)
    rows = Rows(trials, tried, costs)
    shipped, now = tried.index(SHIPPED), len(tried) - 1
    choice = None if costs is None else choose(trials, places(tried), costs, shipped)
    proposed = left_out = None
    if choice is not None and costs is not None:
        proposed = rows.of(choice.index)
        left_out = Rows(own_column(trials, choice.left_out), tried, costs).of(0)
    at_s = [float(kept.frames[0]), float(kept.frames[-1])] if len(kept.frames) else [0.0, 0.0]
    spans = [span for room in rooms if (span := room.account.span_s) is not None]
    if spans:
        at_s = [min(one[0] for one in spans), max(one[1] for one in spans)]
    return Tuning(
        strain=strain,
        runs=trials.runs,
        bags=len(kept.bags),
        span_s=(at_s[0], at_s[1]),
        ends=Counter(end.end for end in seen.ends),
        contradictions=tuple((one.bag, one.why) for one in seen.ends if one.why),
        too_early=seen.too_early,
        shipped=rows.of(shipped),
        present=rows.of(now),
        proposed=proposed,
        left_out=left_out,
        choice=choice,
        sides=()
        if choice is None
        else sides(
            [(rooms[room].account.name, bag) for room, bag in kept.bags],
            seen.ends,
            first_s[:, now],
            first_s[:, choice.index],
            kept.course,
        ),
        cloud=tuple(rows.of(index, bare=True) for index in range(len(tried) - 1)),
    )


def places(tried: Sequence[Thresholds]) -> Array:
    """Where each threshold lies, in logarithms: (tried, 3)."""
    return np.array(
        [
            (
                np.log(one.least_excess_k),
                np.log(one.false_calls_per_100),
                np.log(one.hold_s + HOUR_S),
            )
            for one in tried
        ]
    )


def run_numbers(rooms: Sequence[Room], bags: Sequence[tuple[int, str]]) -> NDArray[np.intp]:
    """The run of each of `bags` (number of room, name): those of one room inoculated within
    days of one another."""
    versions = [bags_of([room.account]) for room in rooms]
    keys = [(room, versions[room][bag][-1].inoculated_s) for room, bag in bags]
    numbers: dict[tuple[int, float], int] = {}
    last: tuple[int, float] | None = None
    number = -1
    for key in sorted(set(keys)):
        if last is None or key[0] != last[0] or key[1] - last[1] > ONE_RUN_S:
            number += 1
        numbers[key], last = number, key
    return np.array([numbers[key] for key in keys], dtype=np.intp)


class _Seen:
    """The bags of a strain with their ends beside when each threshold calls them."""

    def __init__(self, rooms: Sequence[Room], kept: Stretches, first_s: Array) -> None:
        self.ends = [
            rooms[room].endings.get(bag, Ending(bag, End.UNKNOWN)) for room, bag in kept.bags
        ]
        self._live_s = [rooms[room].called_s.get(bag, np.inf) for room, bag in kept.bags]
        self._first_s = first_s
        shown = [bool(row.any()) for row in kept.usable]
        self.early = [one.bad and not shown[place] for place, one in enumerate(self.ends)]
        self.too_early = tuple(
            one.bag for one, early in zip(self.ends, self.early, strict=True) if early
        )

    def trials(self, runs: NDArray[np.intp]) -> Trials:
        """The bags with a known end, as arrays."""
        spoilt = [
            Spoilt(
                place,
                min((at for at in (one.found_s, one.left_s) if at is not None), default=np.inf),
                self._live_s[place],
                1.0 if one.end is End.BAD else MAYBE_WEIGHT,
            )
            for place, one in enumerate(self.ends)
            if one.bad and not self.early[place]
        ]
        healthy = [place for place, one in enumerate(self.ends) if one.end is End.HEALTHY]
        return trials_of(self._first_s, spoilt, np.isfinite(self._first_s[healthy]), healthy, runs)


__all__ = ["Costs", "Room", "Row", "Tuning", "tune"]
