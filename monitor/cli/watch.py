"""Watch the room: read the sources, store, judge, tell. Runs until SIGTERM or Ctrl-C.

Lines go to standard output: alarms as they happen, and every so often how the room stands.
After a stop, a crash or a power cut it goes on where it was: the store holds the run. A
changed strains.yaml is taken between two frames, at once on SIGHUP.
"""

from __future__ import annotations

import argparse
import os
import signal
import threading
from dataclasses import replace
from pathlib import Path

from monitor.cli.arguments import duration_argument, user_name
from monitor.cli.exits import Exit
from monitor.cli.terminal import BOLD, RED, YELLOW, paint, say
from monitor.clock import AwaitedClock, Clock, FastClock, SystemClock
from monitor.errors import WordError
from monitor.settings.load import load_settings
from monitor.sources.folder import RowError, parse_time_s
from monitor.strains_file import StrainsFile
from monitor.watchdog import Notifier

REHEARSAL_WORDS = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt watch`."""
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    parser.add_argument(
        "--standing",
        type=duration_argument,
        default="1 h",
        metavar="DURATION",
        help="how often to say how the room stands; `0 s` for never (default 1 h)",
    )
    parser.add_argument(
        "--rehearse",
        metavar="START,FACTOR[,ORIGIN]",
        help="run on a clock that starts at START (ISO 8601) and goes FACTOR times faster than"
        " life; ORIGIN is the time of life (s since 1970) at START, left out: now; @FILE: it stands"
        " at START until FILE holds ORIGIN."
        " For rehearsals, never for a real room",
    )


def run(arguments: argparse.Namespace) -> Exit:
    """Watch until told to stop."""
    clock = build_clock(arguments.rehearse)
    settings = load_settings(arguments.config, os.environ)
    for note in settings.notes:
        say(f"note: {note}")
    from monitor.live import Live, Wiring  # noqa: PLC0415  # numpy and apprise come with it

    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    strains = StrainsFile(arguments.config)
    signal.signal(signal.SIGHUP, lambda *_: strains.ask())
    wiring = Wiring(notifier=Notifier(os.environ.get("NOTIFY_SOCKET", "")), strains=strains)
    page = None
    if settings.page is not None:
        from monitor.page import Latest, PageServer  # noqa: PLC0415  # no page, no web server

        latest = Latest()
        wiring = replace(wiring, packets=latest.watched_queue, saw=latest.take, kept=latest.kept)
        page = PageServer(settings, clock, latest, say, user_name(), arguments.config)
    live = Live(settings, clock, show, arguments.standing, wiring)
    say(f"watching {settings.room.name}")
    if page is not None:
        page.start()
    try:
        live.run(stop)
    finally:
        if page is not None:
            page.stop()
    say("stopped")
    return Exit.DONE


def show(line: str) -> None:
    """A line of the log, painted by its urgency where there is a terminal."""
    if " NOW: " in line:
        line = paint(line, RED)
    elif " today: " in line:
        line = paint(line, YELLOW)
    elif " later: " in line:
        line = paint(line, BOLD)
    say(line)


def build_clock(rehearsal: str | None) -> Clock:
    """The machine's clock, or the fast one of `--rehearse`. Raises WordError."""
    if rehearsal is None:
        return SystemClock()
    words = rehearsal.split(",")
    try:
        start_s = parse_time_s(words[0])
        factor = float(words[1])
        origin = ",".join(words[REHEARSAL_WORDS:])
        if origin.startswith("@"):
            return AwaitedClock(start_s, factor, Path(origin[1:]))
        origin_s = float(origin) if origin else None
        return FastClock(start_s, factor, origin_s)
    except (RowError, ValueError, IndexError) as error:
        told = f"{rehearsal} can't be read"
        hint = "write START,FACTOR such as 2026-03-02T00:00:00Z,60"
        raise WordError("--rehearse", told, hint) from error
