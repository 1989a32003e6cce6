"""A tuning as a PNG: caught against false calls against warning, and the bags that change sides.

`python -m monitor.review.tune_sheet FILE` reads the sheet's JSON from standard input.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from datetime import tzinfo
from pathlib import Path
from textwrap import wrap
from typing import Any

from monitor.review.pictures import NO_MATPLOTLIB, draw_in_child
from monitor.review.tune import Tuning
from monitor.review.tune_heat import HeatTuning
from monitor.review.tune_heat_words import HEADER as HEAT_HEADER
from monitor.review.tune_heat_words import heat_lines, heat_rows
from monitor.review.tune_rows import Row, Side
from monitor.review.tune_words import (
    HEADER,
    headline,
    proposal_lines,
    side_words,
    table_rows,
    threshold_words,
)
from monitor.terms import DAY_S

#: Bags that change sides which are drawn.
SIDES_DRAWN = 12
POINTS_DRAWN = 200
#: What a bag's course shows, before its unit.
EXCESS, CORE = "excess", "core"
_INK, _SOFT, _PAPER = "#23201a", "#6b6557", "#fbfaf6"
_MARKS = {"shipped": ("s", "#6b6557"), "present": ("o", "#7a4b12"), "proposed": ("D", "#1f6a78")}


def draw_tuning(sheet: Mapping[str, Any], path: Path) -> None:
    """Draw a sheet into `path`, in a child that may take a minute. Raises PictureError."""
    draw_in_child("monitor.review.tune_sheet", sheet, path)


def sheet_of(
    tuning: Tuning,
    heat: HeatTuning,
    doubts: Sequence[str],
    units: str,
    currency: str,
    zone: tzinfo,
) -> dict[str, Any]:
    """All there is to show of a tuning, in words and points, as JSON has them."""
    named = {"shipped": tuning.shipped, "present": tuning.present, "proposed": tuning.proposed}
    scale = 1.8 if units == "F" else 1.0
    return {
        "title": headline(tuning, zone),
        "header": HEADER,
        "rows": table_rows(tuning, units, currency),
        "lines": proposal_lines(tuning, units),
        "heat_header": HEAT_HEADER,
        "heat_rows": heat_rows(heat, units, currency),
        "heat_lines": heat_lines(heat, units),
        "doubts": list(doubts),
        "changing": {EXCESS: len(tuning.sides), CORE: len(heat.sides)},
        "cloud": [_point(row) for row in tuning.cloud],
        "marks": {
            name: [*_point(row), ", ".join(threshold_words(row.thresholds, units))]
            for name, row in named.items()
            if row is not None
        },
        "sides": [
            *_sides(tuning.sides, f"{EXCESS} °{units}", scale, 0.0, zone),
            *_sides(heat.sides, f"{CORE} °{units}", scale, 32.0 if units == "F" else 0.0, zone),
        ],
    }


def _sides(
    sides: Sequence[Side], what: str, scale: float, zero: float, zone: tzinfo
) -> list[dict[str, Any]]:
    """The first bags that change sides, as they are drawn: `what` by day, scaled."""
    return [
        {
            "name": f"{one.bag}, {one.end}",
            "bag": one.bag,
            "room": one.room,
            "words": side_words(one, zone, lambda top: f"{zero + scale * top:.1f} {what[-2:]}"),
            "what": what,
            "day": [round((at_s - one.at_s[0]) / DAY_S, 3) for at_s in _thinned(one.at_s)],
            "course": [round(zero + scale * value, 3) for value in _thinned(one.course)],
            "called": None
            if (called_s := one.present_s or one.proposed_s) is None
            else (called_s - one.at_s[0]) / DAY_S,
        }
        for one in sides[:SIDES_DRAWN]
        if one.at_s
    ]


def _thinned(values: Sequence[float]) -> Sequence[float]:
    """At most `POINTS_DRAWN` of them, the last one among them."""
    step = max(1, -(-len(values) // POINTS_DRAWN))
    return values[::-1][::step][::-1]


def _point(row: Row[Any]) -> list[float | None]:
    """False calls per 100, share caught, hours of warning."""
    rate = 100.0 * row.false / row.healthy if row.healthy else None
    share = None if row.caught_share is None else 100.0 * row.caught_share
    return [rate, share, row.warning_h]


def main(arguments: list[str]) -> int:
    """Draw what stands on standard input; exit code 3 without matplotlib."""
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415  (only in this process)
    except ImportError:
        return NO_MATPLOTLIB
    sheet = json.load(sys.stdin)
    words = [*sheet["lines"], "Core limits:", *sheet["heat_lines"]]
    words = [part for line in words for part in wrap(line, 120)]
    head, rows = 0.55 + 0.16 * len(words), -(-len(sheet["sides"]) // 4)
    height = head + 4.3 + 1.5 * rows
    figure = Figure(figsize=(8.0, height), facecolor=_PAPER)
    axes = figure.add_axes((0.09, 1.0 - (head + 3.6) / height, 0.76, 3.5 / height))
    _cloud(figure, axes, sheet)
    for text, top, size, colour in (
        (sheet["title"], 0.15, 9, _INK),
        ("\n".join(words), 0.4, 8, _SOFT),
    ):
        figure.text(0.03, 1.0 - top / height, text, size=size, va="top", color=colour,
                    parse_math=False)  # fmt: skip
    for number, side in enumerate(sheet["sides"]):
        left = 0.06 + 0.24 * (number % 4)
        bottom = 1.0 - (head + 5.4 + 1.5 * (number // 4)) / height
        _side(figure.add_axes((left, bottom, 0.19, 0.9 / height)), side)
    figure.savefig(arguments[0], dpi=110, format="png")
    return 0


def _cloud(figure: Any, axes: Any, sheet: Mapping[str, Any]) -> None:
    """Every threshold tried, coloured by its warning; shipped, present and proposed marked."""
    axes.set_facecolor(_PAPER)
    points = [one for one in sheet["cloud"] if one[0] is not None and one[1] is not None]
    warm = [one for one in points if one[2] is not None]
    if warm:
        drawn = axes.scatter(
            [one[0] for one in warm], [one[1] for one in warm], c=[one[2] for one in warm],
            s=14, cmap="cividis", lw=0, alpha=0.8,
        )  # fmt: skip
        bar = figure.colorbar(drawn, ax=axes, pad=0.02)
        bar.set_label("hours of warning (median)", color=_SOFT, size=8)
    for name, (rate, share, _, words) in sheet["marks"].items():
        if rate is not None and share is not None:
            mark, colour = _MARKS[name]
            axes.scatter([rate], [share], marker=mark, s=90, facecolor="none", edgecolor=colour,
                         lw=2, label=f"{name}: {words}")  # fmt: skip
    axes.set_xlabel("false calls per 100 healthy bags", color=_SOFT)
    axes.set_ylabel("bad bags caught [%]", color=_SOFT)
    axes.set_ylim(0.0, 104.0)
    axes.tick_params(colors=_SOFT)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(frameon=False, fontsize=8, loc="lower right", labelcolor=_INK)


def _side(axes: Any, side: Mapping[str, Any]) -> None:
    """One bag's course by day, and when it was called."""
    axes.set_facecolor(_PAPER)
    axes.plot(side["day"], side["course"], color="#7a4b12", lw=1.2)
    if side["called"] is not None:
        axes.axvline(side["called"], color="#1f6a78", lw=1, ls="--")
    axes.set_title(f"{side['name']}: {side['what']}", size=7, color=_INK, parse_math=False)
    axes.tick_params(colors=_SOFT, labelsize=6)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
