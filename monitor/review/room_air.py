"""The room's air in a night: one level of all air probes, band, set-back, drift, layers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, median

from monitor.review.night_nouns import Drift, Layers, Level, Series, Shelf
from monitor.review.nights import Window
from monitor.review.slopes import Slope, inflation_of, theil_sen
from monitor.terms import HOUR_S
from monitor.values import Probe

MINUTE_S = 60.0
GRID_S = 600.0


@dataclass(frozen=True, slots=True)
class AirParams:
    """`least_set_back_k` a lower step is a thermostat's tick; a set-back holds for
    `set_back_hold_s` and its two steps are alike within `alike` (a ratio). `settle_s` on
    both sides of a step belong to it. `thin_s` is the length of the means whose slope is
    taken; `fewest` of them are needed."""

    least_set_back_k: float = 0.4
    set_back_hold_s: float = 3 * HOUR_S
    alike: float = 2.0
    settle_s: float = 2400.0
    thin_s: float = 1800.0
    fewest: int = 6


def binned(series: Series, step_s: float) -> dict[int, float]:
    """Means by number of step since 1970."""
    bins: dict[int, list[float]] = {}
    for at_s, value in series:
        bins.setdefault(math.floor(at_s / step_s), []).append(value)
    return {number: fmean(values) for number, values in bins.items()}


def room_level(air_c: Mapping[str, Series], step_s: float) -> Series:
    """The room's air in steps: the mean of its probes, each moved by its usual distance from
    them all, so that one that drops out moves nothing. Times are the middles of steps."""
    known = {probe: binned(series, step_s) for probe, series in air_c.items() if series}
    if not known:
        return ()
    usual = {probe: median(bins.values()) for probe, bins in known.items()}
    centre = fmean(usual.values())
    steps: dict[int, list[float]] = {}
    for probe, bins in known.items():
        for number, mean_c in bins.items():
            steps.setdefault(number, []).append(mean_c - usual[probe] + centre)
    return tuple(((number + 0.5) * step_s, fmean(steps[number])) for number in sorted(steps))


def within(series: Series, window: Window) -> Series:
    """What lies inside the window."""
    return tuple(one for one in series if window.holds(one[0]))


def find_level(level: Series) -> Level | None:
    """Low, high and mean; None where nothing was heard."""
    if not level:
        return None
    low, high = min(level, key=lambda one: one[1]), max(level, key=lambda one: one[1])
    mean_c = fmean(temp_c for _, temp_c in level)
    return Level(low[1], low[0], high[1], high[0], mean_c)


def outside_band_s(
    level: Series, band_c: tuple[float, float], step_s: float
) -> tuple[float, float]:
    """Time above and below the band [s]; what nobody heard counts as neither."""
    above = sum(temp_c > band_c[1] for _, temp_c in level)
    below = sum(temp_c < band_c[0] for _, temp_c in level)
    return above * step_s, below * step_s


def find_drift(grid: Series, upsets: Sequence[Window], params: AirParams) -> Drift:
    """The set-back and what slope is left without it and without what happened.

    `grid` is the level in steps of `GRID_S`.
    """
    calm = tuple(one for one in grid if not any(upset.holds(one[0]) for upset in upsets))
    steps = _set_back(calm, params)
    if steps is None:
        return Drift(_slope(calm, params))
    (lowered_s, down_k), (raised_s, up_k) = steps
    depth_k = (up_k - down_k) / 2
    levelled = tuple(
        (at_s, temp_c + (depth_k if lowered_s < at_s < raised_s else 0.0))
        for at_s, temp_c in calm
        if min(abs(at_s - lowered_s), abs(at_s - raised_s)) >= params.settle_s
    )
    return Drift(_slope(levelled, params), depth_k, lowered_s, raised_s)


def _slope(levelled: Series, params: AirParams) -> Slope | None:
    means = binned(levelled, params.thin_s)
    if len(means) < params.fewest:
        return None
    x = [number * params.thin_s / HOUR_S for number in sorted(means)]
    y = [means[number] for number in sorted(means)]
    plain = theil_sen(x, y)
    rest = [temp - plain.slope * hour for hour, temp in zip(x, y, strict=True)]
    return theil_sen(x, y, inflation=inflation_of(rest))


#: A step of the level: when, and by how much [K].
_Step = tuple[float, float]


def _set_back(grid: Series, params: AirParams) -> tuple[_Step, _Step] | None:
    """The step down and the step up of a set-back; None where not both are in sight."""
    steps = _steps(grid, params)
    pairs = [
        (down, up)
        for down in steps
        for up in steps
        if down[1] < 0 < up[1]
        and up[0] - down[0] >= params.set_back_hold_s
        and 1 / params.alike <= -down[1] / up[1] <= params.alike
    ]
    return max(pairs, key=lambda pair: pair[1][1] - pair[0][1], default=None)


def _steps(grid: Series, params: AirParams) -> list[_Step]:
    """Where the level stands apart between the hour before and the hour after, at its most."""
    jumps: list[_Step] = []
    for at_s, _ in grid:
        before = [t for s, t in grid if params.settle_s / 4 <= at_s - s <= HOUR_S]
        after = [t for s, t in grid if params.settle_s / 2 <= s - at_s <= HOUR_S + GRID_S]
        if len(before) >= 3 and len(after) >= 3:
            jump_k = median(after) - median(before)
            if abs(jump_k) >= params.least_set_back_k:
                jumps.append((at_s, jump_k))
    return [
        step
        for step in jumps
        if all(
            abs(step[1]) >= abs(other[1])
            for other in jumps
            if abs(other[0] - step[0]) <= HOUR_S and other[1] * step[1] > 0
        )
    ]


def find_layers(
    air_c: Mapping[str, Series], probes: Mapping[str, Probe], window: Window
) -> Layers | None:
    """How the air lies in layers; None with air probes on one shelf only."""
    shelves: dict[int, list[dict[int, float]]] = {}
    for probe, series in air_c.items():
        place = probes.get(probe)
        inside = within(series, window)
        if place is not None and place.shelf is not None and inside:
            shelves.setdefault(place.shelf, []).append(binned(inside, GRID_S))
    if len(shelves) < 2:
        return None
    means = {
        shelf: {
            number: fmean(bins[number] for bins in heard if number in bins)
            for number in sorted(set().union(*heard))
        }
        for shelf, heard in sorted(shelves.items())
    }
    bottom, top = means[min(means)], means[max(means)]
    steps = {number: top[number] - bottom[number] for number in top if number in bottom}
    if not steps:
        return None
    usual_k = median(steps.values())
    widest = max(steps, key=lambda number: abs(steps[number]))
    return Layers(
        shelves=tuple(Shelf(shelf, fmean(bins.values())) for shelf, bins in means.items()),
        step_k=usual_k,
        widest_k=steps[widest],
        widest_s=(widest + 0.5) * GRID_S,
    )
