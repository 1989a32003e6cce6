"""The night as a PNG sheet, drawn by matplotlib in a process of its own.

`python -m monitor.review.sheet FILE` reads the sheet's JSON from standard input. matplotlib
is large and slow to load: the daemon must neither hold it in memory nor fall with it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from dataclasses import asdict
from datetime import tzinfo
from pathlib import Path
from textwrap import fill
from typing import Any

from monitor.review.night_chart import Chart, chart_of, limits, runs
from monitor.review.night_nouns import Night
from monitor.review.night_words import happening_labels, headline, sections, title
from monitor.review.pictures import NO_MATPLOTLIB, draw_in_child

_INK, _SOFT, _AIR, _SPREAD, _DEW, _BAND, _SPAN = (
    "#23201a", "#6b6557", "#7a4b12", "#d9b98a", "#1f6a78", "#e6efdd", "#f0d2c4",
)  # fmt: skip
#: What a sheet shows beside the chart; the rest is in the text.
_SHOWN = ("Room", "Happened", "Water", "Cohorts", "Probes", "Alarms")


def draw_night(night: Night, room: str, units: str, zone: tzinfo, path: Path) -> None:
    """Draw the sheet of a night into `path`, in a child that may take a minute.

    Raises PictureError where that does not work, with the reason.
    """
    labels = happening_labels(night, units, zone)
    sheet = {
        "headline": headline(night, units, zone),
        "title": f"{room}, {title(night, zone)}",
        "lines": [
            f"{section.name}: {line}"
            for section in sections(night, units, zone)
            if section.name in _SHOWN
            for line in section.lines[:3]
        ],
        "chart": asdict(chart_of(night, units, zone, labels)),
    }
    draw_in_child("monitor.review.sheet", sheet, path)


def main(arguments: list[str]) -> int:
    """Draw what stands on standard input; exit code 3 without matplotlib."""
    try:
        from matplotlib.figure import Figure  # noqa: PLC0415  (only in this process)
    except ImportError:
        return NO_MATPLOTLIB
    sheet = json.load(sys.stdin)
    plain = dict(sheet["chart"])
    plain["spans"] = ()
    chart = Chart(**{name: _tuples(value) for name, value in plain.items()})
    figure = Figure(figsize=(8.0, 6.8), facecolor="#fbfaf6")
    axes = figure.add_axes((0.07, 0.44, 0.89, 0.38))
    _draw(axes, chart, sheet["chart"]["spans"])
    lines = "\n".join(fill(line, 118, subsequent_indent="   ") for line in sheet["lines"])
    first = fill(sheet["headline"], 78)
    under = 0.965 - 0.032 * (first.count("\n") + 1)
    for y, text, size, colour in (
        (0.975, first, 12, _INK),
        (under, sheet["title"], 9, _SOFT),
        (0.37, lines, 8, _INK),
    ):
        figure.text(0.03, y, text, size=size, va="top", color=colour, parse_math=False)
    figure.savefig(arguments[0], dpi=110, format="png")
    return 0


def _tuples(value: Any) -> Any:
    return tuple(_tuples(one) for one in value) if isinstance(value, list) else value


def _draw(axes: Any, chart: Chart, spans: list[Mapping[str, Any]]) -> None:
    """The air with its spread, the dew point, the band, and what happened."""
    axes.set_facecolor("#fbfaf6")
    axes.axhspan(*chart.band, color=_BAND, lw=0)
    for span in spans:
        axes.axvspan(span["from_h"], max(span["to_h"], span["from_h"] + 0.05), color=_SPAN, lw=0)
    for lows, highs in zip(runs(chart.x, chart.low), runs(chart.x, chart.high), strict=True):
        x = [at for at, _ in lows]
        axes.fill_between(x, [v for _, v in lows], [v for _, v in highs], color=_SPREAD, lw=0)
    for line, colour, style, label in (
        (chart.mean, _AIR, "-", "air"),
        (chart.dew, _DEW, "--", "dew point"),
    ):
        for number, run in enumerate(runs(chart.x, line)):
            name = label if not number else None
            axes.plot([a for a, _ in run], [b for _, b in run], style, color=colour, label=name)
    axes.set_xlim(0.0, chart.hours)
    axes.set_ylim(*limits(chart))
    axes.set_xticks([hour for hour, _ in chart.ticks], [label for _, label in chart.ticks])
    axes.set_ylabel(f"°{chart.units}", color=_SOFT)
    axes.tick_params(colors=_SOFT)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(frameon=False, fontsize=8, loc="best", labelcolor=_SOFT)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
