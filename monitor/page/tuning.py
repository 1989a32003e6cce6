"""What tuning found of each strain, as `bagwatt tune` left it; and its working out anew, in a
process of its own, as it may take minutes and the readings must not wait."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup, escape

from monitor.store import Reader
from monitor.tuning_file import kept_tuning, kept_tunings

#: Ends of `bagwatt tune` that mean it was worked out: with nothing, or something, to change.
DONE = (0, 3)
LIMIT_S = 4 * 3600.0
#: The child yields to everything else.
NICE = 19
WIDTH, HEIGHT = 360, 250
LEFT, RIGHT, TOP, BOTTOM = 40, 14, 14, 34
#: How far the first mark stands off the figures beside it.
OFF = 14
#: Classes of warning in the picture, from the least to the most.
SHADES = 5
MARKS = ("shipped", "present", "proposed")
#: What a bag's course shows, as `review.tune_sheet` calls it.
EXCESS, CORE = "excess", "core"
LITTLE_W, LITTLE_H = 160, 56


@dataclass(frozen=True, slots=True)
class Listed:
    """A strain and when it was tuned last, None for never."""

    strain: str
    at_s: float | None


@dataclass(frozen=True, slots=True)
class Changing:
    """A bag that changes sides."""

    bag: str
    room: str
    words: str
    picture: Markup


@dataclass(frozen=True, slots=True)
class TuningView:
    """One strain's tuning: its sheet, and pictures out of it; bags that change sides, and how
    many more do, by what their course shows."""

    strain: str
    at_s: float
    sheet: Mapping[str, Any]
    picture: Markup
    warning: str
    changing: Mapping[str, tuple[Changing, ...]]
    more: Mapping[str, int]


def list_tunings(store: Reader) -> list[Listed]:
    """Every strain that is in the book or was tuned."""
    tuned = kept_tunings(store.path)
    booked = {bag.strain for bag in store.book()[0].values()}
    return [Listed(name, tuned.get(name)) for name in sorted(booked | tuned.keys())]


def look_at_tuning(store: Path, strain: str, units: str) -> TuningView | None:
    """The strain's last tuning; None where there is none, or none of this make."""
    kept = kept_tuning(store, strain)
    if kept is None:
        return None
    try:
        sheet = kept.sheets[units]
        changing = {
            what: tuple(
                Changing(one["bag"], one["room"], one["words"], little_chart(one))
                for one in sheet["sides"]
                if one["what"].startswith(what)
            )
            for what in (EXCESS, CORE)
        }
        picture, warning = cloud(sheet)
        more = {what: sheet["changing"][what] - len(some) for what, some in changing.items()}
    except (LookupError, TypeError, ValueError):
        return None
    return TuningView(kept.strain, kept.at_s, sheet, picture, warning, changing, more)


def cloud(sheet: Mapping[str, Any]) -> tuple[Markup, str]:
    """Caught against false calls as SVG, lighter for more warning, and what light means.

    Empty where no bad bag or no healthy one is known.
    """
    points = [one for one in sheet["cloud"] if one[0] is not None and one[1] is not None]
    marks = {name: one for name, one in sheet["marks"].items() if None not in one[:2]}
    if not points:
        return Markup(""), ""
    most = max(float(one[0]) for one in [*points, *marks.values()]) or 1.0
    warm = [one[2] for one in points if one[2] is not None]
    low, high = min(warm, default=0.0), max(warm, default=0.0)
    title = f"Bad bags caught against false calls, {len(points)} thresholds tried"
    parts = [
        f'<svg class="chart cloud" viewBox="0 0 {WIDTH} {HEIGHT}" role="img"'
        f' aria-label="{escape(title)}">',
        *_axes(most),
    ]
    # Alike points are drawn once: thresholds far apart may call the same bags.
    alike = {(_x(one[0] / most), _y(one[1])): one[2] for one in points}
    for (at_x, at_y), hours in sorted(alike.items()):
        shade = 0
        if hours is not None and high > low:
            shade = round((hours - low) / (high - low) * (SHADES - 1))
        parts.append(f'<circle class="w{shade}" cx="{at_x}" cy="{at_y}" r="3.5"/>')
    parts += [
        _mark(name, _x(marks[name][0] / most), _y(marks[name][1]))
        for name in MARKS
        if name in marks
    ]
    warning = f"{low:.0f} h to {high:.0f} h" if high > low else ""
    return Markup("".join(parts) + "</svg>"), warning


def _x(share: float) -> float:
    return round(LEFT + OFF + share * (WIDTH - LEFT - OFF - RIGHT), 1)


def _y(percent: float) -> float:
    return round(HEIGHT - BOTTOM - percent / 100.0 * (HEIGHT - TOP - BOTTOM), 1)


def _axes(most: float) -> Iterator[str]:
    """Rules and figures: per cent caught upwards, false calls up to `most` to the right."""
    for percent in (0, 25, 50, 75, 100):
        at = _y(percent)
        yield f'<line class="rule" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{at}" y2="{at}"/>'
        yield f'<text x="{LEFT - 5}" y="{at + 4:.1f}" text-anchor="end">{percent}</text>'
    for share, anchor in ((0.0, "middle"), (0.5, "middle"), (1.0, "end")):
        where = f'x="{_x(share)}" y="{HEIGHT - BOTTOM + 14}" text-anchor="{anchor}"'
        yield f"<text {where}>{share * most:.3g}</text>"
    where = f'x="{WIDTH - RIGHT}" y="{HEIGHT - 5}" text-anchor="end"'
    yield f"<text {where}>false calls per 100 healthy bags</text>"


def _mark(name: str, at_x: float, at_y: float) -> str:
    """A square, a circle or a rhomb, as far apart as their names."""
    shapes = {
        "shipped": f'<rect x="{at_x - 6:.1f}" y="{at_y - 6:.1f}" width="12" height="12"/>',
        "present": f'<circle cx="{at_x:.1f}" cy="{at_y:.1f}" r="8"/>',
        "proposed": f'<path d="M{at_x:.1f} {at_y - 10:.1f}l10 10l-10 10l-10 -10z"/>',
    }
    return f'<g class="mark {name}">{shapes[name]}</g>'


def little_chart(side: Mapping[str, Any]) -> Markup:
    """A bag's course, and the moment of its call, small."""
    days, course, called = side["day"], side["course"], side["called"]
    if len(days) < 2:
        return Markup("")
    first, last = days[0], days[-1]
    foot = 0.0 if side["what"].startswith(EXCESS) else course[0]
    low, high = min(foot, *course), max(foot, *course)

    def x(day: float) -> str:
        return f"{2 + float(day - first) / max(last - first, 1e-9) * (LITTLE_W - 4):.1f}"

    def y(value: float) -> str:
        share = float(value - low) / max(high - low, 1e-9)
        return f"{LITTLE_H - 3 - share * (LITTLE_H - 6):.1f}"

    dots = " ".join(f"{x(day)},{y(value)}" for day, value in zip(days, course, strict=True))
    title = escape(f"{side['what']} of {side['name']} over {last - first:.0f} days")
    line = ""
    if called is not None and first <= called <= last:
        line = f'<line class="called" x1="{x(called)}" x2="{x(called)}" y1="0" y2="{LITTLE_H}"/>'
    return Markup(
        f'<svg class="chart little" viewBox="0 0 {LITTLE_W} {LITTLE_H}" role="img"'
        f' aria-label="{title}">{line}<polyline class="surface" points="{dots}"/></svg>'
    )


class Tuner:
    """Runs `bagwatt tune` for one strain at a time, as a child that yields to the readings."""

    def __init__(self, config_dir: Path | None) -> None:
        self._config_dir = config_dir
        self._lock = threading.Lock()
        self._child: subprocess.Popen[str] | None = None
        self._strain = ""
        self._failed: dict[str, str] = {}

    @property
    def can(self) -> bool:
        """Whether it is known where the settings lie."""
        return self._config_dir is not None

    @property
    def strain(self) -> str:
        """What is being worked out; empty for nothing."""
        with self._lock:
            return self._strain

    def trouble(self, strain: str) -> str:
        """Why the last try at this strain came to nothing."""
        with self._lock:
            return self._failed.get(strain, "")

    def start(self, strain: str) -> bool:
        """Begin with a strain; False where one is under way."""
        with self._lock:
            if self._strain or self._config_dir is None:
                return False
            self._strain = strain
            self._failed.pop(strain, None)
            words = ["tune", "--config", str(self._config_dir), "--json", "--", strain]
            try:
                self._child = subprocess.Popen(
                    [sys.executable, "-m", "monitor", *words],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.PIPE,
                    text=True,
                )
            except OSError as error:
                self._strain = ""
                self._failed[strain] = error.strerror or "no process could be started"
                return True
        with suppress(OSError):  # forbidden, or ended already
            os.setpriority(os.PRIO_PROCESS, self._child.pid, NICE)
        threading.Thread(target=self._wait, args=(strain, self._child), daemon=True).start()
        return True

    def _wait(self, strain: str, child: subprocess.Popen[str]) -> None:
        try:
            _, said = child.communicate(timeout=LIMIT_S)
        except subprocess.TimeoutExpired:
            child.kill()
            _, said = child.communicate()
            said += "\nit took too long"
        with self._lock:
            if child.returncode not in DONE:
                lines = said.strip().splitlines()
                self._failed[strain] = lines[-1] if lines else "it ended without a word"
            self._child, self._strain = None, ""

    def stop(self) -> None:
        """End the child."""
        with self._lock:
            if self._child is not None:
                self._child.terminate()
