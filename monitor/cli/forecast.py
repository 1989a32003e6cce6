"""Say what the bags in the room will do: peak heat, full run, hot shelves, heat and CO2.

Each strain's curve starts from strains.yaml and is learned from its finished runs in the
store; a hybrid borrows from its parents until it has its own. The air is taken to stay as it
was, and bags not yet inoculated are not in it.
"""

from __future__ import annotations

import argparse
import os
from dataclasses import asdict
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.cli.asking import open_card
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_json
from monitor.cli.trace import now_of
from monitor.settings.load import load_settings


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt forecast`."""
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    parser.add_argument("--json", action="store_true", help="print as JSON")


def run(arguments: argparse.Namespace) -> Exit:
    """Forecast; FOUND where a core may reach its limit or the cooling may fall short."""
    # numpy comes with them, and `--help` needs none
    from monitor.review.forecast_words import forecast_lines, suggestions  # noqa: PLC0415
    from monitor.review.runs import forecast_of  # noqa: PLC0415

    settings = load_settings(arguments.config, os.environ, outside=False)
    with open_card(settings) as store:
        found = forecast_of(store, settings, now_of(store))
    units, zone = settings.room.units, ZoneInfo(settings.room.timezone)
    if arguments.json:
        words = suggestions(found, units, zone) if found.batches else []
        hot = [f"{one.rack}/{one.shelf}" for one in found.shelves if one.hot]
        say_json({**asdict(found), "hot_shelves": hot, "suggested": words})
    else:
        for line in forecast_lines(found, units, zone):
            say(line)
    cooling_w = found.limits.cooling_w
    short = cooling_w is not None and any(day.heat_w.high > cooling_w for day in found.days)
    return Exit.FOUND if short or any(one.hot for one in found.shelves) else Exit.DONE
