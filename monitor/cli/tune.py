"""Tune a strain's thresholds by what really became of its bags.

STRAIN's evidence is told again from the store (and from folders in the replay format with
--folder), once; then 500 thresholds are tried on it. The table shows shipped, present and
proposed side by side, the list below which bags change sides: judge for yourself. Core limits
are tried the same way where bags came near them. --apply changes just these values in
strains.yaml, --undo takes the last change back; a running watch takes it by itself. --normal
shows what is normal for the strain here, --learn makes it what the judge expects. Without
STRAIN, --promise and --watcher look at all of them.
"""

from __future__ import annotations

import argparse
import os
from datetime import tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from monitor.cli.exits import Exit
from monitor.cli.terminal import ProgressBar, say, say_error, say_json, table
from monitor.clock import SystemClock
from monitor.settings.edit import Snapshot, apply, backup_of, snapshot, undo
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings

if TYPE_CHECKING:
    from monitor.cli.tuning import Gathered
    from monitor.review.tune import Tuning
    from monitor.review.tune_heat import HeatTuning


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt tune`."""
    parser.add_argument("strain", nargs="?", metavar="STRAIN", help="the strain, as on the bags")
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    parser.add_argument(
        "--folder",
        type=Path,
        action="append",
        default=[],
        help="a folder in the replay format with its book.csv, to tune or --promise by beside the"
        " store; may be repeated",
    )
    parser.add_argument("--apply", action="store_true", help="write the proposal to strains.yaml")
    parser.add_argument("--undo", action="store_true", help="take the last change back")
    parser.add_argument("--normal", action="store_true", help="what is normal for the strain here")
    parser.add_argument("--learn", action="store_true", help="let the judge expect that normal")
    parser.add_argument("--export", type=Path, metavar="FILE", help="the normal, for another farm")
    parser.add_argument(
        "--import", dest="take", type=Path, metavar="FILE", help="a normal from another farm"
    )
    parser.add_argument("--promise", action="store_true", help="are false calls as few as promised")
    parser.add_argument("--watcher", action="store_true", help="alarms a month against targets")
    parser.add_argument("--png", type=Path, metavar="FILE", help="draw it (needs matplotlib)")
    parser.add_argument("--json", action="store_true", help="print as JSON, in SI units")


def run(arguments: argparse.Namespace) -> Exit:
    """Tune, or what else was asked; FOUND where a change is proposed."""
    if arguments.undo:
        for way, before, after in undo(arguments.config):
            say(f"{'.'.join(str(step) for step in way[1:])}: {_plain(before)} -> {_plain(after)}")
        return Exit.DONE
    settings = load_settings(arguments.config, os.environ, outside=False)
    if fault := _folder_fault(settings, arguments):
        say_error(fault)
        return Exit.UNUSABLE
    if arguments.watcher or arguments.promise:
        from monitor.cli.tune_more import promise, watcher  # noqa: PLC0415

        if arguments.watcher:
            return watcher(settings, arguments.json)
        return promise(settings, arguments.folder, arguments.json)
    return _of_a_strain(settings, arguments)


def _folder_fault(settings: Settings, arguments: argparse.Namespace) -> str:
    """Why a folder can't count for what was asked: it has readings, but nobody watched it."""
    asked = [word for word in ("normal", "learn", "export", "watcher") if getattr(arguments, word)]
    if not (arguments.folder and asked):
        return ""
    kept = "the alarms it told" if asked[0] == "watcher" else "the estimates it keeps each hour"
    store = settings.store.path
    there = "" if store.exists() else f" ({store} is not there yet: the first watch makes it)"
    return (
        f"--folder: --{asked[0]} goes by what `bagwatt watch` saw in this room, {kept}, which no"
        f" folder has; leave --folder out{there}, or leave --{asked[0]} out: thresholds and"
        " --promise do take folders"
    )


def _plain(value: Any) -> str:
    """A value of strains.yaml as it was written; core limits one behind another."""
    if isinstance(value, tuple):
        return ", ".join(f"{one['core']} {one['duration']}" for one in value)
    return "not set" if value is None else str(value)


def _of_a_strain(settings: Settings, arguments: argparse.Namespace) -> Exit:
    if arguments.take is not None:
        from monitor.cli.tune_normal import take_normal  # noqa: PLC0415

        return take_normal(arguments.config, settings, arguments.take)
    if not arguments.strain:
        say_error("name the STRAIN to tune, or ask for --promise, --watcher, --undo or --import")
        return Exit.UNUSABLE
    if arguments.normal or arguments.learn or arguments.export:
        from monitor.cli.tune_normal import normal  # noqa: PLC0415

        return normal(settings, arguments)
    return _tune(settings, arguments)


def _tune(settings: Settings, arguments: argparse.Namespace) -> Exit:
    from monitor.cli.tuning import gather  # noqa: PLC0415  # numpy comes with it
    from monitor.review.tune import Costs, tune  # noqa: PLC0415
    from monitor.review.tune_heat import tune_heat  # noqa: PLC0415
    from monitor.review.tune_sheet import draw_tuning, sheet_of  # noqa: PLC0415
    from monitor.review.tune_words import doubt_lines  # noqa: PLC0415
    from monitor.tuning_file import keep_tuning  # noqa: PLC0415

    before = snapshot(arguments.config) if arguments.apply else None
    strain: str = arguments.strain
    bar = ProgressBar("tune")
    try:
        gathered = gather(settings, strain, arguments.folder, bar)
    finally:
        bar.end()
    if gathered.problem:
        say_error(gathered.problem)
        return Exit.UNUSABLE
    costs = settings.costs
    money = None
    if costs is not None:
        money = Costs(costs.lost_bag, costs.needless_walk, costs.neighbour_per_day)
    found = tune(gathered.rooms, strain, gathered.strains, money)
    heat = tune_heat(gathered.rooms, strain, gathered.strains, money)
    zone = ZoneInfo(settings.room.timezone)
    doubts = [*doubt_lines(found, gathered.strangers), *gathered.notes]
    sheets = {
        units: sheet_of(found, heat, doubts, units, settings.book.currency, zone)
        for units in ("C", "F")
    }
    if arguments.png is not None:
        draw_tuning(sheets[settings.room.units], arguments.png)
    if settings.store.path.exists():
        keep_tuning(settings.store.path, strain, SystemClock().wall_s(), sheets)
    if arguments.json:
        say_json(_as_json(found, heat, gathered))
    else:
        _print(found, heat, doubts, settings, zone)
        if arguments.png is not None:
            say(f"drew {arguments.png}")
    return finish(found, heat, before, quiet=arguments.json)


def finish(found: Tuning, heat: HeatTuning, before: Snapshot | None, quiet: bool) -> Exit:
    """Write what was proposed where that was asked for; FOUND where it is left to be done."""
    from monitor.review.tune_heat_words import file_limits  # noqa: PLC0415
    from monitor.review.tune_words import file_values  # noqa: PLC0415

    values: dict[str, str] = {}
    limits: list[tuple[str, str]] = []
    if found.proposed is not None and found.proposed.thresholds != found.present.thresholds:
        values = file_values(found.proposed.thresholds)
    if heat.proposed is not None and heat.proposed.thresholds.moved is not None:
        limits = file_limits(heat.proposed.thresholds.limits)
    if not values and not limits:
        if before is not None and not quiet:
            say("nothing to apply")
        return Exit.DONE
    if before is None:
        return Exit.FOUND
    apply(before, found.strain, values, limits)
    if not quiet:
        for key, value in values.items():
            say(f"{before.path.name}: {found.strain}.{key}: {value}")
        if limits:
            said = ", ".join(" ".join(one) for one in limits)
            say(f"{before.path.name}: {found.strain}.core_limits: {said}")
        say(f"the file as it was is {backup_of(before.path).name}; --undo puts it back")
    return Exit.DONE


def _print(
    found: Tuning, heat: HeatTuning, doubts: list[str], settings: Settings, zone: tzinfo
) -> None:
    from monitor.review import tune_heat_words, tune_words  # noqa: PLC0415

    units, currency = settings.room.units, settings.book.currency
    say(tune_words.headline(found, zone))
    say()
    say(table(tune_words.HEADER, tune_words.table_rows(found, units, currency)))
    say()
    for line in tune_words.proposal_lines(found, units):
        say(line)
    for line in tune_words.side_lines(found, units, zone):
        say(line)
    say()
    rows = tune_heat_words.heat_rows(heat, units, currency)
    say(table(tune_heat_words.HEADER, rows))
    say()
    for line in tune_heat_words.heat_lines(heat, units):
        say(line)
    for line in tune_heat_words.heat_side_lines(heat, units, zone):
        say(line)
    for line in doubts:
        say(f"note: {line}")


def _as_json(found: Tuning, heat: HeatTuning, gathered: Gathered) -> Any:
    from monitor.cli.tuning import plain  # noqa: PLC0415

    said = {"core_limits": heat, "strangers": gathered.strangers, "notes": gathered.notes}
    return plain({**vars(found), **said})
