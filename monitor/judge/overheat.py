"""A core against its strain's limits: how long it has been over each, and what comes next."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from monitor.judge.strain import CoreLimit, Strain
from monitor.terms import HOUR_S
from monitor.values import AlarmKind, Bag, Condition, Estimate, Facts, Reason, Urgency


@dataclass(frozen=True, slots=True)
class OverheatParams:
    """How time over a limit is kept and a course drawn on. Times [s], differences [K].

    `deadband_k` below a limit the kept time neither grows nor drains; `longest_gap_s` without
    an estimate is the most that still counts as one stretch; `slope_s` of cores make the
    slope, from `slope_least_s` on; `settle_s` is the time constant with which a rise is
    taken to level off; `clear_s` a milder state must last before it is believed, `hold_s` a
    state outlives the last estimate.
    """

    now_s: float = 6 * HOUR_S
    today_s: float = 24 * HOUR_S
    deadband_k: float = 0.2
    longest_gap_s: float = HOUR_S
    slope_s: float = 6 * HOUR_S
    slope_every_s: float = 0.5 * HOUR_S
    slope_least_s: float = 2 * HOUR_S
    settle_s: float = 12 * HOUR_S
    clear_s: float = 2 * HOUR_S
    hold_s: float = 6 * HOUR_S


@dataclass(frozen=True, slots=True)
class _Finding:
    """The limit that is reached first, and how it stands."""

    urgency: Urgency
    over: bool
    limit_c: float
    duration_s: float
    reached_in_s: float
    since_s: float | None


@dataclass(slots=True)
class _Course:
    """One bag's way: (limit, seconds over it, since when), recent (time, core), their slope."""

    seen_s: float
    core_c: float
    over: list[tuple[float, float, float | None]] = field(default_factory=list)
    recent: list[tuple[float, float]] = field(default_factory=list)
    slope_k_per_h: float = 0.0
    said: _Finding | None = None
    milder_s: float | None = None


class Overheat:
    """Keeps each bag's time over each of its strain's limits.

    A second at or above a limit adds a second, up to the limit's duration. Below the limit
    the kept time drains as fast as it came: a bag that had six hours over is back at zero
    after six hours of rest, so the swing of a night neither hides a hot day nor adds days
    that never followed each other (our rule, no source; guides give unbroken durations).
    """

    def __init__(self, params: OverheatParams | None = None) -> None:
        self._params = params or OverheatParams()
        self._courses: dict[str, _Course] = {}

    def step(
        self,
        end_s: float,
        estimates: Mapping[str, Estimate],
        bags: Mapping[str, Bag],
        strain_of: Callable[[str], Strain],
    ) -> tuple[Condition, ...]:
        """Conditions `overheating` at a frame's end, by bag code.

        Judged on `Estimate.core_c` [°C], the middle of its interval. A bag without a core
        keeps its state for `hold_s`; one that is no longer in `bags` is forgotten.
        """
        self._courses = {bag: course for bag, course in self._courses.items() if bag in bags}
        found: list[Condition] = []
        for code in sorted(bags):
            bag = bags[code]
            strain = strain_of(bag.strain)
            estimate = estimates.get(code)
            core_c = None if estimate is None else estimate.core_c
            if core_c is not None and strain.core_limits:
                self._take(code, end_s, core_c, strain.core_limits)
            course = self._courses.get(code)
            if course is not None and course.said is not None:
                if end_s - course.seen_s > self._params.hold_s:
                    course.said = None
                else:
                    found.append(_condition(bag, strain, course, course.said, estimate))
        return tuple(found)

    def _take(self, code: str, end_s: float, core_c: float, limits: tuple[CoreLimit, ...]) -> None:
        """Move one bag's course on to `end_s`."""
        params = self._params
        course = self._courses.setdefault(code, _Course(end_s, core_c))
        passed_s = end_s - course.seen_s
        counted_s = passed_s if 0 < passed_s <= params.longest_gap_s else 0.0
        kept = {limit_c: (over_s, since_s) for limit_c, over_s, since_s in course.over}
        course.over = [
            (limit.core_c, *self._keep(limit, core_c, counted_s, end_s, kept.get(limit.core_c)))
            for limit in limits
        ]
        course.seen_s, course.core_c = end_s, core_c
        if not course.recent or end_s - course.recent[-1][0] >= params.slope_every_s:
            course.recent = [
                point for point in course.recent if end_s - point[0] <= params.slope_s
            ] + [(end_s, core_c)]
            course.slope_k_per_h = slope_k_per_h(course.recent, params.slope_least_s)
        self._say(course, self._worst(course, limits), end_s)

    def _keep(
        self,
        limit: CoreLimit,
        core_c: float,
        counted_s: float,
        end_s: float,
        kept: tuple[float, float | None] | None,
    ) -> tuple[float, float | None]:
        """(seconds over the limit, since when) after `counted_s` more."""
        over_s, since_s = kept or (0.0, None)
        if core_c >= limit.core_c:
            begun_s = end_s - counted_s if since_s is None else since_s
            return min(over_s + counted_s, limit.duration_s), begun_s
        if core_c < limit.core_c - self._params.deadband_k:
            over_s = max(0.0, over_s - counted_s)
        return over_s, since_s if over_s > 0 else None

    def _worst(self, course: _Course, limits: tuple[CoreLimit, ...]) -> _Finding | None:
        """The limit whose duration is used up first, if that is within a day."""
        if not self._gets_there(course, limits):
            return None
        highest_c = max(limit.core_c for limit in limits)
        worst: _Finding | None = None
        for limit, (_, over_s, since_s) in zip(limits, course.over, strict=True):
            over = course.core_c >= limit.core_c
            left_s = limit.duration_s - over_s
            if over and limit.core_c == highest_c:
                urgency, reached_s = Urgency.NOW, max(0.0, left_s)
            else:
                wait_s = 0.0 if over else self._until(course, limit)
                reached_s = max(0.0, wait_s + left_s)
                if reached_s >= self._params.today_s:
                    continue
                urgency = Urgency.NOW if reached_s < self._params.now_s else Urgency.TODAY
            finding = _Finding(
                urgency, over, limit.core_c, limit.duration_s, reached_s, since_s if over else None
            )
            if worst is None or _rank(finding) > _rank(worst):
                worst = finding
        return worst

    def _gets_there(self, course: _Course, limits: tuple[CoreLimit, ...]) -> bool:
        """Whether the core is over any limit or on its way to one: of most bags it is not."""
        most_k = max(0.0, self._most_k(course))
        return course.core_c + most_k >= min(limit.core_c for limit in limits)

    def _most_k(self, course: _Course) -> float:
        """How far the present slope carries a core in the end [K]."""
        return course.slope_k_per_h * self._params.settle_s / HOUR_S

    def _until(self, course: _Course, limit: CoreLimit) -> float:
        """Seconds until a core below a limit gets there; infinite where it won't.

        The rise is drawn on as one that levels off, r(t) = slope · τ (1 − exp(−t/τ)), because
        a bag settles where its loss meets its heat; a straight line would cry at each warm
        morning.
        """
        short_k = limit.core_c - course.core_c
        most_k = self._most_k(course)
        if most_k <= short_k:
            return math.inf
        return -self._params.settle_s * math.log1p(-short_k / most_k)

    def _say(self, course: _Course, found: _Finding | None, end_s: float) -> None:
        """Take a worse finding at once, a milder one only once it has lasted `clear_s`."""
        said = course.said
        rank = -1 if found is None else found.urgency.rank
        if said is None or rank >= said.urgency.rank:
            course.said, course.milder_s = found, None
            return
        if course.milder_s is None:
            course.milder_s = end_s
        if end_s - course.milder_s >= self._params.clear_s:
            course.said, course.milder_s = found, None

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            code: {
                "seen_s": course.seen_s,
                "core_c": course.core_c,
                "over": [list(item) for item in course.over],
                "recent": [list(point) for point in course.recent],
                "slope_k_per_h": course.slope_k_per_h,
                "said": None if course.said is None else _plain(course.said),
                "milder_s": course.milder_s,
            }
            for code, course in self._courses.items()
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._courses = {
            code: _Course(
                seen_s=kept["seen_s"],
                core_c=kept["core_c"],
                over=[(limit_c, over_s, since_s) for limit_c, over_s, since_s in kept["over"]],
                recent=[(at_s, core_c) for at_s, core_c in kept["recent"]],
                slope_k_per_h=kept["slope_k_per_h"],
                said=None if kept["said"] is None else _found(kept["said"]),
                milder_s=kept["milder_s"],
            )
            for code, kept in state.items()
        }


def _plain(finding: _Finding) -> list[Any]:
    return [
        finding.urgency.value,
        finding.over,
        finding.limit_c,
        finding.duration_s,
        finding.reached_in_s,
        finding.since_s,
    ]


def _found(kept: list[Any]) -> _Finding:
    urgency, over, limit_c, duration_s, reached_in_s, since_s = kept
    return _Finding(Urgency(urgency), over, limit_c, duration_s, reached_in_s, since_s)


def _rank(finding: _Finding) -> tuple[int, float, float]:
    """Most urgent first, then the soonest, then the hottest limit."""
    return finding.urgency.rank, -finding.reached_in_s, finding.limit_c


def slope_k_per_h(recent: list[tuple[float, float]], least_s: float) -> float:
    """Least-squares slope of (time [s], core [°C]); 0 before `least_s` of them."""
    if not recent or recent[-1][0] - recent[0][0] < least_s:
        return 0.0
    middle_s = math.fsum(at_s for at_s, _ in recent) / len(recent)
    top = math.fsum((at_s - middle_s) * core_c for at_s, core_c in recent)
    bottom = math.fsum((at_s - middle_s) ** 2 for at_s, _ in recent)
    return HOUR_S * top / bottom


def _condition(
    bag: Bag, strain: Strain, course: _Course, said: _Finding, estimate: Estimate | None
) -> Condition:
    return Condition(
        kind=AlarmKind.OVERHEATING,
        subject=bag.bag,
        urgency=said.urgency,
        reason=Reason.CORE_LIMIT if said.over else Reason.CORE_FORECAST,
        facts=Facts(
            bag=bag.bag,
            probe=bag.probe,
            cohort=bag.cohort,
            strain=strain.name if strain.known else bag.strain,
            rack=bag.rack,
            shelf=bag.shelf,
            slot=bag.slot,
            surface_c=None if estimate is None else estimate.surface_c,
            air_c=None if estimate is None else estimate.local_air_c,
            rate_k_per_h=None if estimate is None else estimate.rate_k_per_h,
            since_s=said.since_s,
            core_c=course.core_c,
            limit_c=said.limit_c,
            limit_duration_s=said.duration_s,
            reached_in_s=said.reached_in_s,
        ),
    )
