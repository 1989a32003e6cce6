"""The night review: what happened while you slept, computed from plain data. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from statistics import fmean

from monitor.review.happenings import HappeningParams, find_happenings
from monitor.review.moist import dew_points, find_moist
from monitor.review.night_alarms import find_alarms, find_probes
from monitor.review.night_bags import find_cohorts, find_movers
from monitor.review.night_nouns import (
    Compared,
    Happening,
    Level,
    Night,
    NightData,
    Point,
    Rhythm,
    Series,
)
from monitor.review.nights import Window
from monitor.review.rhythm import RhythmParams, find_rhythm, spacing_s
from monitor.review.room_air import (
    GRID_S,
    MINUTE_S,
    AirParams,
    binned,
    find_drift,
    find_layers,
    find_level,
    outside_band_s,
    room_level,
    within,
)
from monitor.values import Reason

#: After something ended the air still settles.
SETTLES_S = 1800.0
_SILENT = (Reason.POWER_CUT, Reason.WAS_DARK)


@dataclass(frozen=True, slots=True)
class NightParams:
    """The parameters of each part, beside the part they serve."""

    air: AirParams = field(default_factory=AirParams)
    rhythm: RhythmParams = field(default_factory=RhythmParams)
    happenings: HappeningParams = field(default_factory=HappeningParams)


def review_night(data: NightData, params: NightParams | None = None) -> Night:
    """The review of `data.window`.

    Each part is None or empty where nothing is known of it: no air probe, no humidity probe,
    readings too far apart for the thermostat's rhythm, no earlier nights.
    """
    params = params or NightParams()
    window = data.window
    every_s = _spacing_s(data.air_c, window)
    step_s = max(MINUTE_S, every_s or MINUTE_S)
    fine = room_level(data.air_c, step_s)
    level = within(fine, window)
    rhythm = find_rhythm(_densest(data.air_c, window), window, params.rhythm)
    happenings = find_happenings(
        data.events, fine, data.heard, window, _swing_k(rhythm), params.happenings
    )
    upsets = [_upset(one, window) for one in happenings]
    silent = [_upset(one, window) for one in happenings if one.reason in _SILENT]
    above_s, below_s = outside_band_s(level, data.band_c, step_s)
    dew = dew_points(data.humidity, data.air_c, data.probes)
    known = find_level(level)
    grid = tuple(((n + 0.5) * GRID_S, t) for n, t in sorted(binned(level, GRID_S).items()))
    heard = {probe for probe, one in data.heard.items() if one.count}
    carriers = {place.bag for name, place in data.probes.items() if place.bag}
    return Night(
        window=window,
        band_c=data.band_c,
        level=known,
        above_s=above_s,
        below_s=below_s,
        drift=find_drift(grid, upsets, params.air) if grid else None,
        rhythm=rhythm,
        spacing_s=every_s,
        happenings=happenings,
        layers=find_layers(data.air_c, data.probes, window),
        moist=find_moist(dew, data.air_c, data.surface_c, window),
        cohorts=find_cohorts(data),
        movers=find_movers(data),
        probes=find_probes(data, silent),
        alarms=find_alarms(data.events, window),
        compared=_compared(level_of(data.air_c, window), data.before),
        course=_course(data.air_c, dew, window),
        bags=len(carriers),
        bags_heard=len(carriers & {data.probes[p].bag for p in heard if p in data.probes}),
        rolled=data.rolled,
    )


def level_of(air_c: Mapping[str, Series], window: Window) -> Level | None:
    """The air's level in a window by means of ten minutes, for comparing nights: no more is
    kept of old ones."""
    every_s = _spacing_s(air_c, window)
    return find_level(within(room_level(air_c, max(GRID_S, every_s or GRID_S)), window))


def _spacing_s(air_c: Mapping[str, Series], window: Window) -> float | None:
    return spacing_s(_densest(air_c, window))


def _densest(air_c: Mapping[str, Series], window: Window) -> Series:
    """The air probe with most readings; of equals the first by name."""
    inside = {probe: within(series, window) for probe, series in sorted(air_c.items())}
    return max(inside.values(), key=len, default=())


def _swing_k(rhythm: Rhythm | None) -> float:
    return 0.0 if rhythm is None else rhythm.swing_k


def _upset(one: Happening, window: Window) -> Window:
    end_s = window.end_s if one.end_s is None else one.end_s + SETTLES_S
    return Window(one.start_s - GRID_S, max(end_s, one.start_s))


def _compared(level: Level | None, before: tuple[Level, ...]) -> Compared | None:
    if level is None or not before:
        return None
    return Compared(
        nights=len(before),
        warmer_k=level.mean_c - fmean(one.mean_c for one in before),
        swing_k=(level.high_c - level.low_c) - fmean(one.high_c - one.low_c for one in before),
    )


def _course(
    air_c: Mapping[str, Series], dew: Mapping[int, tuple[float, float]], window: Window
) -> tuple[Point, ...]:
    """The night in steps of ten minutes, all of them, heard or not."""
    steps: dict[int, list[float]] = {}
    for series in air_c.values():
        for at_s, temp_c in within(series, window):
            steps.setdefault(int(at_s // GRID_S), []).append(temp_c)
    first, last = int(window.start_s // GRID_S), int((window.end_s - 1) // GRID_S)
    points = []
    for number in range(first, last + 1):
        temps, water = steps.get(number), dew.get(number)
        point = Point((number + 0.5) * GRID_S, None, None, None, None, None)
        if temps:
            point = replace(point, low_c=min(temps), mean_c=fmean(temps), high_c=max(temps))
        if water:
            point = replace(point, humidity=water[0], dew_c=water[1])
        points.append(point)
    return tuple(points)
