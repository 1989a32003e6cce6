"""What the commands of the book share: their words, the desk, and how they answer."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from monitor.book.codes import in_runs
from monitor.book.desk import Desk
from monitor.book.moments import parse_moment
from monitor.book.standing import Standing
from monitor.cli.arguments import user_name
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_json
from monitor.clock import SystemClock
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.store import Store

_MOST_NAMED = 4


def shared_words() -> argparse.ArgumentParser:
    """Options of every word of the book, for `parents=`."""
    words = argparse.ArgumentParser(add_help=False)
    add_shared(words)
    return words


def add_shared(parser: argparse.ArgumentParser) -> None:
    """Options of every command of the book."""
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    parser.add_argument("--json", action="store_true", help="answer as JSON")
    parser.add_argument("--by", default=user_name(), help="who writes (default: who is logged in)")


def time_words() -> argparse.ArgumentParser:
    """The option that says when something was."""
    words = argparse.ArgumentParser(add_help=False)
    words.add_argument(
        "--at", metavar="TIME", help="when it was, such as 2026-03-09T10:05 (default: now)"
    )
    return words


def read_settings(arguments: argparse.Namespace) -> Settings:
    """The settings of `--config`; no secret is asked for."""
    return load_settings(arguments.config, os.environ, outside=False)


@contextmanager
def open_desk(arguments: argparse.Namespace) -> Iterator[Desk]:
    """The book, open for the person at this terminal."""
    settings = read_settings(arguments)
    now_s = round(SystemClock().wall_s(), 3)  # so that a file brings the same time back
    with Store.open(settings.store.path, now_s, check=False) as store:
        yield Desk(store, settings, arguments.by, now_s)


def moment(arguments: argparse.Namespace, desk: Desk) -> float:
    """The time of `--at`, else now."""
    if getattr(arguments, "at", None) is None:
        return desk.now_s
    return parse_moment(arguments.at, desk.settings.room.timezone)


def local(at_s: float | None, desk: Desk) -> str:
    """Day and minute in the room's own time."""
    if at_s is None:
        return ""
    zone = ZoneInfo(desk.settings.room.timezone)
    return datetime.fromtimestamp(at_s, zone).strftime("%Y-%m-%d %H:%M")


def answer(arguments: argparse.Namespace, value: dict[str, Any], lines: Sequence[str]) -> Exit:
    """The same answer for a script or a person."""
    if arguments.json:
        say_json(value)
    else:
        for line in lines:
            say(line)
    return Exit.DONE


def under(head: str, lines: Sequence[str]) -> list[str]:
    """A part of a longer answer under its head, a blank line before it."""
    return ["", head, *lines] if lines else ["", f"{head}: nothing is written of it"]


def none_here(standing: Standing, settings: Settings) -> str:
    """That there is no bag, and how one comes in."""
    if standing.bags:
        return "no bag in the room"
    if settings.room.folder is not None:
        return f"no bag in the room yet: `bagwatt watch` takes those of {settings.room.folder}"
    return "no bag in the room yet: `bagwatt batch add` enters them"


def some(codes: Sequence[str]) -> str:
    """`A to Z (40 bags)`, or the few there are; a bag that is not among them is in no "to"."""
    if len(codes) <= _MOST_NAMED:
        return ", ".join(codes) or "none"
    runs = in_runs(codes)
    named = ", ".join(f"{run[0]} to {run[-1]}" if run[1:] else run[0] for run in runs[:_MOST_NAMED])
    rest = sum(map(len, runs[_MOST_NAMED:]))
    return named + (f" and {rest} more" if rest else "") + f" ({len(codes)} bags)"
