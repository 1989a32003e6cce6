"""The thermostat's rhythm in the air: turning points, period, swing, share of time rising."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median, quantiles

from monitor.review.night_nouns import Rhythm, Series
from monitor.review.nights import Window


@dataclass(frozen=True, slots=True)
class RhythmParams:
    """When turns of the air are a rhythm. An on/off thermostat swings by 1 to 2 °C, two to six
    times an hour (common practice, no source).

    `least_turn_k` smaller turns are noise; `fewest_ticks` before one speaks of a rhythm;
    `readings_a_tick` needed to see its shape; `stopped_ticks` periods without a tick, and
    `changed` as a ratio of periods, are worth telling.
    """

    least_turn_k: float = 0.25
    turn_share: float = 0.4
    fewest_ticks: int = 6
    readings_a_tick: float = 4.0
    longest_s: float = 2 * 3600.0
    stopped_ticks: float = 4.0
    changed: float = 1.5
    changed_k: float = 0.3


def spacing_s(series: Series) -> float | None:
    """The usual time between readings [s]; None under three of them."""
    if len(series) < 3:
        return None
    return median(later[0] - one[0] for one, later in pairwise(series))


def find_rhythm(series: Series, window: Window, params: RhythmParams) -> Rhythm | None:
    """The rhythm inside the window; None where there is none, or readings are too sparse.

    `series` is one air probe's temperature [°C]. A rhythm that differs between the halves of
    the night is given as that of the second half, with the first under `was`.
    """
    inside = [one for one in series if window.holds(one[0])]
    ticks = _ticks(inside, params)
    whole = _summed(ticks, inside, params)
    if whole is None:
        return None
    middle_s = (window.start_s + window.end_s) / 2
    first, second = (
        _summed([tick for tick in ticks if (tick[0] < middle_s) is early], inside, params)
        for early in (True, False)
    )
    whole = replace(whole, stopped=_stopped(ticks, window, whole, params))
    if first is None or second is None or not _differ(first, second, params):
        return whole
    return replace(second, ticks=whole.ticks, stopped=whole.stopped, was=first)


#: A tick: trough, crest, next trough [s], swing [K].
_Tick = tuple[float, float, float, float]


def _ticks(points: Sequence[tuple[float, float]], params: RhythmParams) -> list[_Tick]:
    """From trough to trough; a turn counts once the air has come back by enough of its swing."""
    turns = _turns(points, _turn_k(points, params))
    ticks = []
    for trough, crest, end in zip(turns, turns[1:], turns[2:], strict=False):
        if crest[1] > trough[1] and end[0] - trough[0] <= params.longest_s:
            swing_k = crest[1] - (trough[1] + end[1]) / 2
            ticks.append((trough[0], crest[0], end[0], swing_k))
    return ticks


def _turn_k(points: Sequence[tuple[float, float]], params: RhythmParams) -> float:
    """How far the air must come back for a turn: a share of how it swings within the hour."""
    hours: dict[int, list[float]] = {}
    for at_s, temp_c in points:
        hours.setdefault(math.floor(at_s / 3600.0), []).append(temp_c)
    spans = [max(temps) - min(temps) for temps in hours.values() if len(temps) > 3]
    return max(params.least_turn_k, params.turn_share * median(spans) if spans else 0.0)


def _turns(points: Sequence[tuple[float, float]], by_k: float) -> list[tuple[float, float]]:
    """Crests and troughs in turn: extremes that the air left by `by_k` or more."""
    turns: list[tuple[float, float]] = []
    if not points:
        return turns
    low = high = points[0]
    rising: bool | None = None
    for point in points:
        low = point if point[1] < low[1] else low
        high = point if point[1] > high[1] else high
        if rising is not False and point[1] <= high[1] - by_k:
            turns.append(high)
            rising, low = False, point
        elif rising is not True and point[1] >= low[1] + by_k:
            turns.append(low)
            rising, high = True, point
        if rising is True:
            low = point
        elif rising is False:
            high = point
    return turns


def _summed(
    ticks: Sequence[_Tick], points: Sequence[tuple[float, float]], params: RhythmParams
) -> Rhythm | None:
    if len(ticks) < params.fewest_ticks:
        return None
    periods = [end_s - start_s for start_s, _, end_s, _ in ticks]
    period_s = median(periods)
    spacing = spacing_s(tuple(points))
    if spacing is None or period_s < params.readings_a_tick * spacing:
        return None
    quarter, _, three = quantiles(periods, n=4)
    if three - quarter > period_s:
        return None  # turns at any time are weather and doors, not a thermostat
    return Rhythm(
        period_s=period_s,
        swing_k=median(tick[3] for tick in ticks),
        duty=median(
            (crest_s - start_s) / (end_s - start_s) for start_s, crest_s, end_s, _ in ticks
        ),
        ticks=len(ticks),
    )


def _differ(first: Rhythm, second: Rhythm, params: RhythmParams) -> bool:
    ratio = max(first.period_s, second.period_s) / min(first.period_s, second.period_s)
    swing_k = abs(first.swing_k - second.swing_k)
    swings = max(first.swing_k, second.swing_k) / max(min(first.swing_k, second.swing_k), 0.01)
    return ratio >= params.changed or (swing_k >= params.changed_k and swings >= params.changed)


def _stopped(
    ticks: Sequence[_Tick], window: Window, rhythm: Rhythm, params: RhythmParams
) -> Window | None:
    """The longest time without a tick, if it is much longer than a period."""
    marks = [window.start_s, *(end for tick in ticks for end in (tick[0], tick[2])), window.end_s]
    start_s, end_s = max(pairwise(sorted(marks)), key=lambda gap: gap[1] - gap[0])
    if end_s - start_s < params.stopped_ticks * rhythm.period_s:
        return None
    return Window(start_s, end_s)
