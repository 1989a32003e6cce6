"""Many core limits at once: when each bag would first have been called overheating under each.

`judge.overheat.Overheat` over bags and limits in arrays. A call is made by one limit alone, so
each limit is tried by itself and a set of limits calls when the first of them does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.judge.overheat import OverheatParams, slope_k_per_h
from monitor.judge.strain import CoreLimit, Strain
from monitor.review.account import Account, walk
from monitor.terms import HOUR_S

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Cores:
    """Cores of the bags of a strain that came in reach of a limit, padded with NaN.

    `bags` (account number, bag); `at_s`, `core_c`, `slope_k_per_h` (bags, frames), times [s
    since 1970]; `fresh` where a bag is back from outside, and nothing is remembered of it.
    """

    bags: tuple[tuple[int, str], ...]
    at_s: Array
    core_c: Array
    slope_k_per_h: Array
    fresh: NDArray[np.bool_]

    def course(self, place: int) -> tuple[Array, Array]:
        """Times [s since 1970] and core [°C] of the bag at `place`."""
        known = np.isfinite(self.core_c[place])
        return self.at_s[place][known], self.core_c[place][known]

    def hottest_s(self, place: int, within_k: float) -> float:
        """When the bag at `place` first came within `within_k` of its hottest."""
        at_s, core_c = self.course(place)
        return float(at_s[int(np.argmax(core_c >= core_c.max() - within_k))])


def cores(accounts: Sequence[Account], strain: str, strain_of: Mapping[str, Strain]) -> Cores:
    """The kept cores of every bag of a strain, with the slope that the judge had of each."""
    found: dict[tuple[int, str], list[_Point]] = {}
    for number, account in enumerate(accounts):
        warm = {name for frame in account.frames for name in frame.core_c}
        if not warm:
            continue
        left: set[str] = set()
        for frame, _, bags in walk(account, strain_of, ()):
            left.update(warm.intersection(frame.gone))
            for name, core_c in frame.core_c.items():
                if name in bags and bags[name].strain == strain:
                    point = (frame.end_s, core_c, name in left)
                    found.setdefault((number, name), []).append(point)
                    left.discard(name)
    longest = max(map(len, found.values()), default=0)
    rows = np.full((4, len(found), longest), np.nan)
    for place, points in enumerate(found.values()):
        rows[:3, place, : len(points)] = np.array(points).T
        rows[3, place, : len(points)] = _slopes(points)
    return Cores(tuple(found), rows[0], rows[1], rows[3], rows[2] == 1.0)


#: When, how warm, and whether the bag is back from outside.
_Point = tuple[float, float, bool]


def _slopes(points: Sequence[_Point]) -> list[float]:
    """The slope as `Overheat` has it after each point."""
    params = OverheatParams()
    recent: list[tuple[float, float]] = []
    slope = 0.0
    slopes = []
    for at_s, core_c, fresh in points:
        if fresh:
            recent, slope = [], 0.0
        if not recent or at_s - recent[-1][0] >= params.slope_every_s:
            recent = [one for one in recent if at_s - one[0] <= params.slope_s] + [(at_s, core_c)]
            slope = slope_k_per_h(recent, params.slope_least_s)
        slopes.append(slope)
    return slopes


def first_heated(
    kept: Cores,
    limits: Sequence[CoreLimit],
    top: Sequence[bool],
    held: NDArray[np.bool_] | None = None,
) -> tuple[Array, NDArray[np.bool_]]:
    """When each bag is first called under each limit alone, and whether it bore it out.

    limits   tried, each by itself
    top      whether it is the hottest of its set: then a core over it is called at once
    held     (bags, frames) where a call is held back: it is made once it no longer is, if it
             is due then
    Returns  (bags, limits) [s since 1970], inf never; and whether the limit's whole duration
             was used up

    Exactly what `Overheat` gives for the cores that are kept.
    """
    shape = (len(kept.bags), len(limits))
    called_s, borne = np.full(shape, np.inf), np.zeros(shape, dtype=np.bool_)
    if not called_s.size:
        return called_s, borne
    params = OverheatParams()
    limit_c = np.array([one.core_c for one in limits])
    lasts_s = np.array([one.duration_s for one in limits])
    at_once = np.array(top)
    passed_s = np.diff(kept.at_s, axis=1, prepend=kept.at_s[:, :1])
    counted_s = np.where(passed_s <= params.longest_gap_s, passed_s, 0.0)
    over_s = np.zeros(shape)
    counted_s[kept.fresh] = 0.0
    for step in range(kept.core_c.shape[1]):
        over_s[kept.fresh[:, step]] = 0.0
        live = np.flatnonzero(np.isfinite(kept.core_c[:, step]))
        core_c, count_s = kept.core_c[live, step, None], counted_s[live, step, None]
        over, before_s = core_c >= limit_c, over_s[live]
        drained = core_c < limit_c - params.deadband_k
        after_s = np.where(drained, np.maximum(0.0, before_s - count_s), before_s)
        after_s = np.where(over, np.minimum(before_s + count_s, lasts_s), after_s)
        over_s[live] = after_s
        borne[live] |= over & (after_s >= lasts_s)
        left_s = lasts_s - after_s
        soon = left_s < params.today_s
        due = over & (soon | at_once)
        near = ~over & soon
        if near.any():
            wait_s = _until(core_c, kept.slope_k_per_h[live, step, None], limit_c, near, params)
            due |= near & (wait_s + left_s < params.today_s)
        if held is not None:
            due &= ~held[live, step, None]
        new = due & np.isinf(called_s[live])
        where, which = np.nonzero(new)
        called_s[live[where], which] = kept.at_s[live[where], step]
    return called_s, borne


def _until(
    core_c: Array, slope: Array, limit_c: Array, near: NDArray[np.bool_], params: OverheatParams
) -> Array:
    """Seconds until a core below a limit gets there; infinite where it won't."""
    short_k = limit_c - core_c
    most_k = slope * params.settle_s / HOUR_S
    reaches = near & (most_k > short_k)
    share = np.divide(short_k, most_k, out=np.zeros(near.shape), where=reaches)
    return np.where(reaches, -params.settle_s * np.log1p(-share), np.inf)
