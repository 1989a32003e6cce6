"""The night as a picture: what is drawn, in a person's degrees, and drawn as SVG. Pure.

The same `Chart` is drawn by matplotlib for the PNG sheet (`sheet.py`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from html import escape

from monitor.review.night_nouns import Night
from monitor.terms import HOUR_S

#: Small, so that its text is of a size with the page's on a phone.
WIDTH, HEIGHT, LEFT, RIGHT, BOTTOM, TOP = 480, 256, 40, 24, 30, 26
_XY = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Span:
    """A happening on the time axis [h from the night's start]."""

    from_h: float
    to_h: float
    label: str


@dataclass(frozen=True, slots=True)
class Chart:
    """Hours from the start of the night against degrees; None where nothing was heard.

    `ticks` are (hour, time on the wall).
    """

    units: str
    hours: float
    band: tuple[float, float]
    x: tuple[float, ...]
    low: tuple[float | None, ...]
    mean: tuple[float | None, ...]
    high: tuple[float | None, ...]
    dew: tuple[float | None, ...]
    spans: tuple[Span, ...]
    ticks: tuple[tuple[float, str], ...]


def chart_of(night: Night, units: str, zone: tzinfo, labels: Sequence[str]) -> Chart:
    """What there is to draw; `labels` name the happenings, in their order."""
    start_s = night.window.start_s

    def degrees(value_c: float | None) -> float | None:
        if value_c is None:
            return None
        return round(value_c * 1.8 + 32.0 if units == "F" else value_c, 3)

    def hour(at_s: float) -> float:
        inside = min(max(at_s, start_s), night.window.end_s)
        return round((inside - start_s) / HOUR_S, 4)

    low, high = night.band_c
    return Chart(
        units=units,
        hours=night.window.length_s / HOUR_S,
        band=(degrees(low) or 0.0, degrees(high) or 0.0),
        x=tuple(hour(point.at_s) for point in night.course),
        low=tuple(degrees(point.low_c) for point in night.course),
        mean=tuple(degrees(point.mean_c) for point in night.course),
        high=tuple(degrees(point.high_c) for point in night.course),
        dew=tuple(degrees(point.dew_c) for point in night.course),
        spans=tuple(
            Span(
                hour(one.start_s),
                hour(night.window.end_s if one.end_s is None else one.end_s),
                label,
            )
            for one, label in zip(night.happenings, labels, strict=True)
        ),
        ticks=_ticks(night, zone),
    )


def _ticks(night: Night, zone: tzinfo) -> tuple[tuple[float, str], ...]:
    """Every second full hour on the wall; through a change of the clocks as it shows there."""
    start = datetime.fromtimestamp(night.window.start_s, zone)
    first_s = night.window.start_s + (-start.minute % 60) * 60.0 - start.second
    count = math.floor((night.window.end_s - first_s) / HOUR_S) + 1
    step = max(1, math.ceil(count / 7))
    moments = [first_s + number * HOUR_S for number in range(0, count, step)]
    return tuple(
        (
            round((at_s - night.window.start_s) / HOUR_S, 4),
            datetime.fromtimestamp(at_s, zone).strftime("%H:%M"),
        )
        for at_s in moments
    )


def runs(x: Sequence[float], y: Sequence[float | None]) -> list[list[_XY]]:
    """Stretches of points with a value, so that a gap stays a gap."""
    found: list[list[_XY]] = [[]]
    for at, value in zip(x, y, strict=True):
        if value is None:
            found.append([])
        else:
            found[-1].append((at, value))
    return [run for run in found if run]


def limits(chart: Chart) -> tuple[float, float]:
    """The lowest and highest degree drawn; the band only where the air came near it."""
    values = [v for line in (chart.low, chart.high, chart.dew) for v in line if v is not None]
    if not values:
        return chart.band
    room = max((max(values) - min(values)) * 0.08, 0.4)
    return min(values) - room, max(values) + room


def svg(chart: Chart, says: str) -> str:
    """The chart as an SVG element; `says` is what a screen reader reads of it."""
    bottom, top = limits(chart)

    def x(hour: float) -> float:
        return LEFT + hour / chart.hours * (WIDTH - LEFT - RIGHT)

    def y(value: float) -> float:
        inside = min(max(value, bottom), top)
        return TOP + (top - inside) / (top - bottom) * (HEIGHT - TOP - BOTTOM)

    parts = [
        f'<rect class="band" x="{LEFT}" y="{y(chart.band[1]):.1f}" width="{WIDTH - LEFT - RIGHT}"'
        f' height="{max(y(chart.band[0]) - y(chart.band[1]), 0):.1f}"/>'
    ]
    for span in chart.spans:
        width = max(x(span.to_h) - x(span.from_h), 3.0)
        parts.append(
            f'<rect class="span" x="{x(span.from_h):.1f}" y="{TOP}" width="{width:.1f}"'
            f' height="{HEIGHT - TOP - BOTTOM}"><title>{escape(span.label)}</title></rect>'
        )
    for value in _steps(bottom, top):
        parts.append(
            f'<line class="grid" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y(value):.1f}"'
            f' y2="{y(value):.1f}"/><text x="{LEFT - 6}" y="{y(value) + 4:.1f}"'
            f' text-anchor="end">{value:g}</text>'
        )
    for hour, label in chart.ticks:
        parts.append(
            f'<text x="{x(hour):.1f}" y="{HEIGHT - 8}" text-anchor="middle">{escape(label)}</text>'
        )
    parts += [
        f'<path class="spread" d="{_area(lows, highs, x, y)}"/>'
        for lows, highs in zip(runs(chart.x, chart.low), runs(chart.x, chart.high), strict=True)
    ]
    for name, line in (("dew", chart.dew), ("mean", chart.mean)):
        parts += [
            f'<path class="{name}" d="{_path([(x(a), y(b)) for a, b in run])}"/>'
            for run in runs(chart.x, line)
        ]
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(says)}">'
        f'{"".join(parts)}<text x="6" y="15">°{chart.units}</text></svg>'
    )


def _steps(bottom: float, top: float) -> list[float]:
    """Round degrees for grid lines, five or so."""
    step = next((s for s in (0.5, 1.0, 2.0, 5.0, 10.0) if (top - bottom) / s <= 6), 20.0)
    first = math.ceil(bottom / step)
    return [number * step for number in range(first, math.floor(top / step) + 1)]


def _path(points: Sequence[_XY]) -> str:
    return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in points)


def _area(
    lows: Sequence[_XY],
    highs: Sequence[_XY],
    x: Callable[[float], float],
    y: Callable[[float], float],
) -> str:
    around = [*highs, *reversed(lows)]
    return _path([(x(a), y(b)) for a, b in around]) + "Z"
