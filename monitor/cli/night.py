"""What happened while you slept: one night (20:00 to 08:00 as set) in ten seconds of reading.

The first line says whether all is quiet; then the room, what happened to it, its drift, its
thermostat, layers and water, each cohort's heat, the bags that moved most and why the judge
is or isn't worried, probes, alarms. Without more words it is the newest night of the store.
Exit code 3 where an alarm stands that nobody has answered.
"""

from __future__ import annotations

import argparse
import os
import shutil
from dataclasses import asdict
from datetime import date, datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from monitor.cli.exits import Exit
from monitor.cli.terminal import GREEN, YELLOW, paint, say, say_error, say_json
from monitor.clock import SystemClock
from monitor.errors import WordError
from monitor.review.night_nouns import Night, NightData
from monitor.review.nights import Window, last_night, night_of
from monitor.settings.load import load_settings
from monitor.settings.schema_night import NightSettings
from monitor.terms import DAY_S

if TYPE_CHECKING:
    from monitor.settings.schema import Settings

MOST_NIGHTS_AGO = 400
LEAST_WIDTH, MOST_WIDTH = 40, 120


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt night`."""
    parser.add_argument("--config", type=Path, help="settings folder")
    parser.add_argument(
        "--folder", type=Path, help="a folder in the replay format instead of the store"
    )
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--nights-ago",
        type=int,
        default=0,
        metavar="N",
        help="so many nights before the newest (default 0)",
    )
    which.add_argument(
        "--date", metavar="DAY", help="the night that began on that evening, such as 2026-03-04"
    )
    which.add_argument(
        "--from",
        dest="begin",
        metavar="TIME",
        help="another window: its begin in the room's time, such as 2026-03-04T20:00",
    )
    parser.add_argument("--to", dest="end", metavar="TIME", help="and its end")
    parser.add_argument("--units", choices=("C", "F"), help="degrees; left out, the room's")
    parser.add_argument("--json", action="store_true", help="print as JSON, in SI units")
    parser.add_argument("--png", type=Path, metavar="FILE", help="draw a sheet (needs matplotlib)")
    parser.add_argument("--html", type=Path, metavar="FILE", help="write one file for a browser")


def run(arguments: argparse.Namespace) -> Exit:
    """Review the night; print it, write what was asked for."""
    if arguments.config is None and arguments.folder is None:
        say_error("name --config DIR (the store's night) or --folder FOLDER")
        return Exit.UNUSABLE
    if not 0 <= arguments.nights_ago <= MOST_NIGHTS_AGO:
        say_error(f"--nights-ago takes 0 to {MOST_NIGHTS_AGO}")
        return Exit.UNUSABLE
    if (arguments.begin is None) != (arguments.end is None):
        say_error("give both --from and --to, or neither")
        return Exit.UNUSABLE
    from monitor.review.night import review_night  # noqa: PLC0415
    from monitor.review.night_words import QUIET, headline, night_text, title  # noqa: PLC0415

    data, room, units, zone = _gathered(arguments)
    units = arguments.units or units
    night = review_night(data)
    _write_files(arguments, night, room, units, zone)
    if arguments.json:
        first = {"headline": headline(night, units, zone), "title": title(night, zone)}
        say_json({"room": room, **first, **_plain(asdict(night))})
    else:
        width = min(max(shutil.get_terminal_size().columns, LEAST_WIDTH), MOST_WIDTH)
        first_line, _, rest = night_text(night, room, units, zone, width).partition("\n")
        say(paint(first_line, GREEN if first_line == QUIET else YELLOW))
        say(rest)
    waiting = any(one.stands and not one.answered_by and not one.state for one in night.alarms)
    return Exit.FOUND if waiting else Exit.DONE


def _gathered(arguments: argparse.Namespace) -> tuple[NightData, str, str, tzinfo]:
    """The night's data, the room's name, its degrees and its zone."""
    if arguments.folder is not None:
        from monitor.folder_night import folder_night  # noqa: PLC0415  # numpy comes with it

        hours = NightSettings()
        if arguments.config is not None and (arguments.config / "monitor.yaml").exists():
            hours = load_settings(arguments.config, {}, outside=False).night

        def choose(newest_s: float, zone: tzinfo) -> Window:
            return _window(arguments, hours, newest_s, zone)

        return folder_night(arguments.folder, arguments.config, choose)
    settings = load_settings(arguments.config, os.environ, outside=False)
    return _from_store(arguments, settings)


def _from_store(
    arguments: argparse.Namespace, settings: Settings
) -> tuple[NightData, str, str, tzinfo]:
    from monitor.assemble import plan_of  # noqa: PLC0415  # numpy comes with it
    from monitor.cli.asking import open_card  # noqa: PLC0415
    from monitor.review.gather import book_then, gather_night  # noqa: PLC0415

    zone = ZoneInfo(settings.room.timezone)
    with open_card(settings) as store:
        last = store.last_frame()
        newest_s = last.end_s if last else SystemClock().wall_s()
        window = _window(arguments, settings.night, newest_s, zone)
        data = gather_night(store, settings, plan_of(*book_then(store, window)), window, zone)
    return data, settings.room.name, settings.room.units, zone


def _window(
    arguments: argparse.Namespace, hours: NightSettings, newest_s: float, zone: tzinfo
) -> Window:
    """The asked-for window or night, else the newest night or one so many nights before."""
    window = _named_window(arguments, hours, newest_s, zone)
    if window.start_s > max(newest_s, SystemClock().wall_s()):
        which = "--from, --to" if arguments.date is None else "--date"
        told = f"{arguments.date or arguments.begin} is still to come"
        raise WordError(which, told, "name a night that has begun")
    return window


def _named_window(
    arguments: argparse.Namespace, hours: NightSettings, newest_s: float, zone: tzinfo
) -> Window:
    if arguments.begin is not None:
        window = Window(_moment_s(arguments.begin, zone), _moment_s(arguments.end, zone))
        if not 0 < window.length_s <= 7 * DAY_S:
            told = f"{arguments.begin} to {arguments.end} is no stretch to review"
            raise WordError("--from, --to", told, "end it after it begins, by seven days at most")
        return window
    if arguments.date is not None:
        return night_of(_day(arguments.date), hours.from_minute, hours.until_minute, zone)
    return last_night(
        max(newest_s, 2 * DAY_S),
        hours.from_minute,
        hours.until_minute,
        zone,
        arguments.nights_ago,
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise WordError("--date", f"`{text}` is no day", "write it such as 2026-03-04") from error


def _moment_s(text: str, zone: tzinfo) -> float:
    """An ISO 8601 time; without an offset it is on the wall of the room."""
    try:
        moment = datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp()
    except (ValueError, OverflowError) as error:
        told = f"`{text}` is no time"
        raise WordError("--from, --to", told, "write it such as 2026-03-04T20:00") from error


def _write_files(
    arguments: argparse.Namespace, night: Night, room: str, units: str, zone: tzinfo
) -> None:
    from monitor.errors import PictureError  # noqa: PLC0415

    if arguments.html is not None:
        from monitor.review.night_html import night_html  # noqa: PLC0415

        try:
            arguments.html.write_text(night_html(night, room, units, zone), encoding="utf-8")
        except OSError as error:
            raise PictureError(str(arguments.html), error.strerror or str(error)) from error
    if arguments.png is not None:
        from monitor.review.sheet import draw_night  # noqa: PLC0415

        draw_night(night, room, units, zone, arguments.png)


def _plain(value: Any) -> Any:
    """What JSON can hold."""
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value
