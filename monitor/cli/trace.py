"""Ask what lost bags share, or with --loss what the farm's background loss is.

Lost are bags that were pulled or found contaminated, and alarmed ones until somebody says what
became of them; BAG names others to take for lost. Every group of bags is tested exactly: spawn
lots and what they come from, loads and their parts, sessions, order of inoculation, persons,
shelves, recipes, suppliers, strains. What is found is a reason to go and look, no proof.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from monitor.book.codes import resolve
from monitor.cli.arguments import duration_argument
from monitor.cli.asking import open_card
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_json
from monitor.clock import SystemClock
from monitor.errors import BookError
from monitor.review.loss import Loss, loss
from monitor.review.records import BagRecord, bag_records
from monitor.review.trace import LEVEL, Finding, Trace, trace
from monitor.review.trace_words import headline, hold_command, loss_lines, trace_lines
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.store import Reader
from monitor.terms import DAY_S


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt trace`."""
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    parser.add_argument("bags", nargs="*", metavar="BAG", help="take these for the lost ones")
    parser.add_argument(
        "--since",
        type=duration_argument,
        default="180 d",
        metavar="DURATION",
        help="bags inoculated within this time (default 180 d)",
    )
    parser.add_argument("--loss", action="store_true", help="background loss and what changed it")
    parser.add_argument("--json", action="store_true", help="print as JSON")


def run(arguments: argparse.Namespace) -> Exit:
    """Trace, or tell the loss; FOUND where something wants a look."""
    settings = load_settings(arguments.config, os.environ, outside=False)
    with open_card(settings) as store:
        now_s = now_of(store)
        every = bag_records(store)
        records = [bag for bag in every if bag.inoculated_s >= now_s - arguments.since]
    if arguments.loss:
        return _loss(settings, loss(records, now_s, ZoneInfo(settings.room.timezone),
                                    lambda strain: longest_run_s(settings, strain)),
                     arguments.json)  # fmt: skip
    found = trace(records, [_meant(word, records, every) for word in arguments.bags])
    if arguments.json:
        say_json(trace_json(found, str(arguments.config)))
    else:
        for line in trace_lines(found, str(arguments.config), chosen=bool(arguments.bags)):
            say(line)
    return Exit.FOUND if found.findings else Exit.DONE


def _meant(typed: str, records: Sequence[BagRecord], every: Sequence[BagRecord]) -> str:
    """The bag that was named among those looked at. Raises BookError."""
    code = resolve(typed, {bag.bag for bag in every})
    if code not in {bag.bag for bag in records}:
        raise BookError(code, "was inoculated before the time looked at", "give a longer --since")
    return code


def now_of(store: Reader) -> float:
    """When the store was last at work, else what the clock says."""
    last = store.last_frame()
    return last.closed_s if last else SystemClock().wall_s()


def longest_run_s(settings: Settings, strain: str) -> float:
    """A strain's longest sound run [s]."""
    return settings.strains.lookup(strain).run_days[1] * DAY_S


def _loss(settings: Settings, found: Loss, as_json: bool) -> Exit:
    price, currency = settings.book.bag_price, settings.book.currency
    if as_json:
        cost = None if price is None else found.total.lost * price
        say_json({**finite(asdict(found)), "cost": cost, "currency": currency})
    else:
        for line in loss_lines(found, price, currency):
            say(line)
    changed = any(one.adjusted <= LEVEL for one in found.changes)
    return Exit.FOUND if changed else Exit.DONE


def trace_json(found: Trace, config: str) -> dict[str, Any]:
    """A trace for a script."""
    return {
        "bags": found.bags,
        "lost": list(found.lost),
        "looked_at": found.looked_at,
        "findings": [_finding_json(one, config) for one in found.findings],
        "set_aside": [_finding_json(one, config) for one in found.set_aside],
    }


def _finding_json(one: Finding, config: str) -> dict[str, Any]:
    of_a_lot = one.factor in ("spawn lot", "spawn from")
    held = of_a_lot and one.explained_by is None
    return {
        "factor": one.factor,
        "level": one.level,
        "same_bags_as": [list(name) for name in one.group.names[1:]],
        "not_told_from": [list(group.names[0]) for group in one.not_told_from],
        "explained_by": list(one.explained_by.names[0]) if one.explained_by else None,
        **asdict(one.table),
        "chance": one.chance,
        "adjusted": one.adjusted,
        "odds": finite(one.odds),
        "odds_95": [one.odds_low, finite(one.odds_high)],
        "lost": list(one.lost),
        "standing": list(one.standing),
        "risk": asdict(one.risk) if one.risk else None,
        "hold": hold_command(one, config) if held else None,
        "words": headline(one),
    }


def finite(value: Any) -> Any:
    """The value with infinities as null: JSON has none."""
    if isinstance(value, dict):
        return {key: finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [finite(inner) for inner in value]
    return None if isinstance(value, float) and value in (float("inf"), float("-inf")) else value
