"""Plain text on a terminal: colour only where one is, a progress bar, errors on stderr."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Sequence
from typing import Any, TextIO

BOLD, DIM, RED, YELLOW, GREEN = "1", "2", "31", "33", "32"
BAR_CELLS = 30


def coloured(stream: TextIO) -> bool:
    """Whether colour is welcome: a terminal, and NO_COLOR unset (no-color.org)."""
    return stream.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


def paint(text: str, code: str, stream: TextIO | None = None) -> str:
    """The text in a colour where the stream is a terminal, else as it is."""
    return f"\033[{code}m{text}\033[0m" if coloured(stream or sys.stdout) else text


def say(text: str = "") -> None:
    """A line for a person, at once."""
    print(text, flush=True)


def say_error(text: str) -> None:
    """A line about what went wrong."""
    print(paint(text, RED, sys.stderr), file=sys.stderr, flush=True)


def say_json(value: Any) -> None:
    """One JSON document, for a script."""
    print(json.dumps(value, ensure_ascii=False, allow_nan=False, indent=2), flush=True)


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Columns under their heads, as wide as their widest cell; the last one runs free."""
    cells = [list(header), *[list(row) for row in rows]]
    widths = [max(len(row[column]) for row in cells) for column in range(len(header))]
    lines = [
        "  ".join(
            [*(text.ljust(width) for text, width in zip(row[:-1], widths, strict=False)), row[-1]]
        ).rstrip()
        for row in cells
    ]
    return "\n".join([paint(lines[0], BOLD), *lines[1:]])


class ProgressBar:
    """A bar on stderr while a long piece of work runs; silent where stderr is no terminal."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._shown = -1
        self._live = sys.stderr.isatty()

    def __call__(self, share: float) -> None:
        """Show that `share` (0 to 1) of the work is done."""
        percent = int(min(max(share, 0.0), 1.0) * 100)
        if not self._live or percent == self._shown:
            return
        self._shown = percent
        full = percent * BAR_CELLS // 100
        bar = "#" * full + "." * (BAR_CELLS - full)
        print(f"\r{self._what} [{bar}] {percent:3d} %", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        """Take the bar away."""
        if self._live and self._shown >= 0:
            print("\r\033[K", end="", file=sys.stderr, flush=True)
