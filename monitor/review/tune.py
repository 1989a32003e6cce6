"""Thresholds of a strain held against what really happened, and a proposal for better ones."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from monitor.judge.strain import Strain
from monitor.review.account import Account, bags_of
from monitor.review.outcomes import End, Ending
from monitor.review.scan import Stretches, Thresholds, first_calls, stretches
from monitor.review.tune_choice import Choice, choose
from monitor.review.tune_score import (
    DAY_S,
    Array,
    Costs,
    Trials,
    caught_and_days,
    cost_per_100,
    false_per_100,
    own_column,
)

HOUR_S = 3600.0
#: What the program ships: where few runs leave a proposal.
SHIPPED = Thresholds.of(Strain())
LEAST_EXCESS_K = (0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0)
FALSE_PER_100 = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0)
HOLD_S = (0.0, HOUR_S, 2 * HOUR_S, 4 * HOUR_S, 8 * HOUR_S)
#: A maybe counts half: nobody looked inside.
MAYBE_WEIGHT = 0.5
#: Bags inoculated within this time of one another are one run.
ONE_RUN_S = 3 * DAY_S
RESAMPLED = 400


@dataclass(frozen=True, slots=True)
class Room:
    """One account with what the book says became of its bags, and when live alarms (or the
    present settings) first pointed at each."""

    account: Account
    endings: Mapping[str, Ending]
    called_s: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Row:
    """How one threshold fared. Counts of bags; `caught_share` by the product limit; `cost` per
    100 bags with its 80 % interval over resampled runs, None without costs."""

    thresholds: Thresholds
    caught: int
    missed: int
    cut_off: int
    caught_share: float | None
    false: int
    healthy: int
    false_low: float
    false_high: float
    warning_h: float | None
    cost: float | None = None
    cost_low: float | None = None
    cost_high: float | None = None


@dataclass(frozen=True, slots=True)
class Side:
    """A bag that is called under one of present and proposed only, with its course."""

    room: str
    bag: str
    end: End
    present_s: float | None
    proposed_s: float | None
    at_s: tuple[float, ...]
    excess_k: tuple[float, ...]


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
    shipped: Row
    present: Row
    proposed: Row | None
    left_out: Row | None
    choice: Choice | None
    sides: tuple[Side, ...]
    cloud: tuple[Row, ...]


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
    runs = run_numbers(rooms, kept)
    seen = _Seen(rooms, kept, first_s)
    trials = seen.trials(runs)
    rows = _Rows(trials, tried, costs)
    shipped, now = tried.index(SHIPPED), len(tried) - 1
    choice = None if costs is None else choose(trials, tried, costs, shipped)
    proposed = left_out = None
    if choice is not None and costs is not None:
        proposed = rows.of(choice.index)
        left_out = _Rows(own_column(trials, choice.left_out), tried, costs).of(0)
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
        sides=_sides(rooms, kept, seen, first_s, now, choice.index) if choice else (),
        cloud=tuple(rows.of(index, bare=True) for index in range(len(tried) - 1)),
    )


def run_numbers(rooms: Sequence[Room], kept: Stretches) -> NDArray[np.intp]:
    """The run of each bag of `kept`: bags of one room inoculated within days of one another."""
    versions = [bags_of([room.account]) for room in rooms]
    keys = [(room, versions[room][bag][-1].inoculated_s) for room, bag in kept.bags]
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
        numbered = list(zip(self.ends, self.early, strict=True))
        bad = [place for place, (one, early) in enumerate(numbered) if one.bad and not early]
        healthy = [place for place, one in enumerate(self.ends) if one.end is End.HEALTHY]
        tried = self._first_s.shape[1]
        day = np.full((len(bad), tried), np.inf)
        called = np.zeros((len(bad), tried), dtype=np.bool_)
        warning_h = np.full((len(bad), tried), np.nan)
        for row, place in enumerate(bad):
            end, first = self.ends[place], self._first_s[place]
            until_s = min(
                (at for at in (end.found_s, end.left_s) if at is not None), default=np.inf
            )
            first = np.where(first <= until_s, first, np.inf)
            called[row] = np.isfinite(first)
            if not called[row].any():
                continue
            began_s = first.min()
            cut_s = until_s if self._live_s[place] <= until_s else np.inf
            day[row] = (np.where(called[row], first, cut_s) - began_s) / DAY_S
            warning_h[row] = np.where(called[row], (until_s - first) / HOUR_S, np.nan)
        warning_h[~np.isfinite(warning_h)] = np.nan
        return Trials(
            day=day,
            called=called,
            warning_h=warning_h,
            weight=np.array(
                [1.0 if self.ends[place].end is End.BAD else MAYBE_WEIGHT for place in bad]
            ),
            bad_run=runs[bad],
            false=np.isfinite(self._first_s[healthy]),
            healthy_run=runs[healthy],
            runs=int(runs.max()) + 1,
        )


class _Rows:
    """Rows of the table; costs of resampled runs are worked out for one at a time."""

    def __init__(self, trials: Trials, tried: Sequence[Thresholds], costs: Costs | None) -> None:
        self._trials, self._tried, self._costs = trials, tried, costs
        self._draws = np.random.default_rng(0).multinomial(
            trials.runs, np.full(trials.runs, 1.0 / trials.runs), RESAMPLED
        ).astype(np.float64)  # fmt: skip
        everyone = np.ones(trials.runs)
        self._share = caught_and_days(trials.day, trials.called, trials.weight)[0]
        self._cost = None if costs is None else cost_per_100(trials, costs, everyone)

    def of(self, index: int, bare: bool = False) -> Row:
        """The row of a threshold; `bare` leaves out the intervals."""
        trials, one = self._trials, _only(self._trials, index)
        called, finite = one.called[:, 0], np.isfinite(one.day[:, 0])
        share, warnings = float(self._share[index]), one.warning_h[np.isfinite(one.warning_h)]
        false, healthy = int(one.false.sum()), len(one.healthy_run)
        low, high = (np.nan, np.nan) if bare else exact_interval(false, healthy)
        cost = None if self._cost is None else float(self._cost[index])
        cost_low = cost_high = None
        if self._costs is not None and not bare:
            drawn = cost_per_100(one, self._costs, self._draws)[:, 0]
            cost_low, cost_high = (float(q) for q in np.quantile(drawn, (0.1, 0.9)))
        return Row(
            thresholds=self._tried[index],
            caught=int(called.sum()),
            missed=int((~called & ~finite).sum()),
            cut_off=int((~called & finite).sum()),
            caught_share=share if np.isfinite(share) else None,
            false=false,
            healthy=healthy,
            false_low=low,
            false_high=high,
            warning_h=float(np.median(warnings)) if len(warnings) else None,
            cost=cost if trials.runs else None,
            cost_low=cost_low,
            cost_high=cost_high,
        )


def _only(trials: Trials, index: int) -> Trials:
    return own_column(trials, np.full(trials.runs, index, dtype=np.intp).tolist())


def exact_interval(count: int, total: int, confidence: float = 0.80) -> tuple[float, float]:
    """Exact interval of a rate per 100 from a count of `total`; 0 to 100 of nothing.

    Source  Clopper and Pearson 1934
    """
    if total == 0:
        return 0.0, 100.0
    from scipy.special import betaincinv  # noqa: PLC0415

    tail = (1.0 - confidence) / 2.0
    low = 0.0 if count == 0 else float(betaincinv(count, total - count + 1, tail))
    high = 1.0 if count == total else float(betaincinv(count + 1, total - count, 1.0 - tail))
    return 100.0 * low, 100.0 * high


def _sides(
    rooms: Sequence[Room],
    kept: Stretches,
    seen: _Seen,
    first_s: Array,
    present: int,
    proposed: int,
) -> tuple[Side, ...]:
    """Bags called under one of the two only; bad ones first, then by name."""
    found = []
    before_s, after_s = first_s[:, present], first_s[:, proposed]
    changed = np.isfinite(before_s) != np.isfinite(after_s)
    for place in np.flatnonzero(changed).tolist():
        room, bag = kept.bags[place]
        at_s, excess_k = kept.course(place)
        before, after = float(before_s[place]), float(after_s[place])
        found.append(
            Side(
                rooms[room].account.name,
                bag,
                seen.ends[place].end,
                before if np.isfinite(before) else None,
                after if np.isfinite(after) else None,
                tuple(at_s.tolist()),
                tuple(excess_k.tolist()),
            )
        )
    return tuple(sorted(found, key=lambda one: (one.end is not End.BAD, one.room, one.bag)))


__all__ = ["Costs", "Room", "Row", "Tuning", "false_per_100", "tune"]
