"""Small pictures as SVG text, drawn here: no script, no style attribute, nothing fetched."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

WIDTH, HEIGHT = 360, 190
LEFT, RIGHT, TOP, BOTTOM = 34, 8, 10, 24
#: After this long without a value a line is broken: nobody knows what was between.
LONGEST_JOIN_S = 2.5 * 3600.0

Series = Sequence[tuple[float, float | None]]


@dataclass(frozen=True, slots=True)
class Line:
    """A course with the CSS class it is drawn in."""

    css: str
    points: Series


@dataclass(frozen=True, slots=True)
class Band:
    """An area between two courses of the same times."""

    css: str
    low: Series
    high: Series


def chart(
    title: str, lines: Sequence[Line], bands: Sequence[Band], zone: tzinfo, least_span: float = 2.0
) -> str:
    """One picture with a scale of values and the local midnights; empty where nothing is known.

    `least_span` is the least height of the scale, so that noise is not blown up.
    """
    series = [one.points for one in lines] + [part for one in bands for part in (one.low, one.high)]
    known = [(at_s, value) for points in series for at_s, value in points if value is not None]
    if len({at_s for at_s, _ in known}) < 2:
        return ""
    times = [at_s for points in series for at_s, _ in points]  # known or not: where it ends shows
    first_s, last_s = min(times), max(times)
    low, high = min(value for _, value in known), max(value for _, value in known)
    middle, span = (low + high) / 2, max(high - low, least_span) * 1.08
    low, high = middle - span / 2, middle + span / 2

    def x(at_s: float) -> float:
        return LEFT + (at_s - first_s) / (last_s - first_s) * (WIDTH - LEFT - RIGHT)

    def y(value: float) -> float:
        return HEIGHT - BOTTOM - (value - low) / (high - low) * (HEIGHT - TOP - BOTTOM)

    parts = [
        f'<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{_safe(title)}">'
    ]
    parts += _value_marks(low, high, y)
    parts += _midnights(first_s, last_s, zone, x)
    parts += [_area(one, x, y) for one in bands]
    parts += [_line(one.css, stretch, x, y) for one in lines for stretch in _stretches(one.points)]
    return "".join(parts) + "</svg>"


def _safe(text: str) -> str:
    for sign, name in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = text.replace(sign, name)
    return text


def _figure(value: float) -> str:
    return f"{value:g}".replace("-", "\N{MINUS SIGN}")


def _value_marks(low: float, high: float, y: Callable[[float], float]) -> Iterator[str]:
    step = next(one for one in (0.5, 1, 2, 5, 10, 20, 50, 1e9) if (high - low) / one <= 6)
    value = step * math.ceil(low / step)
    while value <= high:
        at = f"{y(value):.1f}"
        yield f'<line class="rule" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{at}" y2="{at}"/>'
        where = f'x="{LEFT - 5}" y="{y(value) + 4:.1f}" text-anchor="end"'
        yield f"<text {where}>{_figure(value)}</text>"
        value += step


def _midnights(
    first_s: float, last_s: float, zone: tzinfo, x: Callable[[float], float]
) -> Iterator[str]:
    day = datetime.fromtimestamp(first_s, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    while (at_s := (day := day + timedelta(days=1)).timestamp()) < last_s:
        at = f"{x(at_s):.1f}"
        yield f'<line class="rule" x1="{at}" x2="{at}" y1="{TOP}" y2="{HEIGHT - BOTTOM}"/>'
        yield f'<text x="{at}" y="{HEIGHT - 7}" text-anchor="middle">{day:%a}</text>'


def _stretches(points: Series) -> Iterator[list[tuple[float, float]]]:
    """The course in pieces without a gap."""
    piece: list[tuple[float, float]] = []
    for at_s, value in points:
        if value is None:
            continue
        if piece and at_s - piece[-1][0] > LONGEST_JOIN_S:
            yield piece
            piece = []
        piece.append((at_s, value))
    if piece:
        yield piece


def _line(
    css: str,
    points: list[tuple[float, float]],
    x: Callable[[float], float],
    y: Callable[[float], float],
) -> str:
    dots = " ".join(f"{x(at_s):.1f},{y(value):.1f}" for at_s, value in points)
    return f'<polyline class="{css}" points="{dots}"/>'


def _area(band: Band, x: Callable[[float], float], y: Callable[[float], float]) -> str:
    low = [f"{x(at_s):.1f},{y(value):.1f}" for at_s, value in band.low if value is not None]
    high = [f"{x(at_s):.1f},{y(value):.1f}" for at_s, value in band.high if value is not None]
    if not low:
        return ""
    return f'<polygon class="{band.css}" points="{" ".join(low + high[::-1])}"/>'
