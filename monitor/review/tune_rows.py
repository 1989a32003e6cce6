"""Rows of a tuning's table: how each threshold tried fared, with its intervals."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from monitor.review.outcomes import End, Ending
from monitor.review.tune_score import (
    Array,
    Costs,
    Trials,
    caught_and_days,
    cost_per_100,
    own_column,
)

RESAMPLED = 400
#: A maybe counts half: nobody looked inside.
MAYBE_WEIGHT = 0.5
Tried = TypeVar("Tried")


@dataclass(frozen=True, slots=True)
class Row(Generic[Tried]):
    """How one threshold fared. Counts of bags; `caught_share` by the product limit; `cost` per
    100 bags with its 80 % interval over resampled runs, None without costs."""

    thresholds: Tried
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
    """A bag that is called under one of present and proposed only, with its course: excess [K]
    of one beside its cohort, core [°C] of one against its limits."""

    room: str
    bag: str
    end: End
    present_s: float | None
    proposed_s: float | None
    at_s: tuple[float, ...]
    course: tuple[float, ...]


class Rows(Generic[Tried]):
    """Rows of the table; costs of resampled runs are worked out for one at a time."""

    def __init__(self, trials: Trials, tried: Sequence[Tried], costs: Costs | None) -> None:
        self._trials, self._tried, self._costs = trials, tried, costs
        self._draws = np.random.default_rng(0).multinomial(
            trials.runs, np.full(trials.runs, 1.0 / trials.runs), RESAMPLED
        ).astype(np.float64)  # fmt: skip
        everyone = np.ones(trials.runs)
        self._share = caught_and_days(trials.day, trials.called, trials.weight)[0]
        self._cost = None if costs is None else cost_per_100(trials, costs, everyone)

    def of(self, index: int, bare: bool = False) -> Row[Tried]:
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


def sides(
    bags: Sequence[tuple[str, str]],
    ends: Sequence[Ending],
    before_s: Array,
    after_s: Array,
    courses: Callable[[int], tuple[Array, Array]],
) -> tuple[Side, ...]:
    """Bags called under one of two thresholds only; bad ones first, then by name.

    bags               (room, name) of each
    before_s, after_s  when each is first called [s since 1970], inf for never
    courses            times and values of the bag at a place
    """
    found = []
    for place in np.flatnonzero(np.isfinite(before_s) != np.isfinite(after_s)).tolist():
        at_s, course = courses(place)
        room, bag = bags[place]
        end, before, after = ends[place].end, _or_none(before_s[place]), _or_none(after_s[place])
        times, values = tuple(at_s.tolist()), tuple(course.tolist())
        found.append(Side(room, bag, end, before, after, times, values))
    return tuple(sorted(found, key=lambda one: (one.end not in _FIRST, one.room, one.bag)))


_FIRST = (End.BAD, End.COOKED)


def _or_none(at_s: float) -> float | None:
    return float(at_s) if np.isfinite(at_s) else None
