"""Put a folder of readings on the same road as live and write what it would have said.

FOLDER holds bags.csv, probes.csv and readings.csv (or .csv.gz), if wanted walks.csv and
book.csv; README.md, `Replay`, describes them. OUT gets alarms.csv (a row for each transition
of each alarm), estimates.csv.gz (hourly, each bag) and summary.json. A bad row is skipped,
counted and named with its line; a missing file or column is exit code 2.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from monitor.cli.exits import Exit
from monitor.cli.terminal import ProgressBar, say, say_json
from monitor.words.quantities import counted

_MOST_SKIPPED = 5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt replay`."""
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="the folder to replay")
    parser.add_argument("--out", type=Path, required=True, help="where the three files go")
    parser.add_argument("--config", type=Path, help="settings folder (monitor.yaml, strains.yaml)")
    parser.add_argument("--json", action="store_true", help="print the summary as JSON")


def run(arguments: argparse.Namespace) -> Exit:
    """Replay and print a summary."""
    from monitor.replay import replay_folder  # noqa: PLC0415  # numpy comes with it

    bar = ProgressBar("replay")
    try:
        summary = replay_folder(arguments.folder, arguments.out, arguments.config, bar)
    finally:
        bar.end()
    if arguments.json:
        say_json(summary)
    else:
        _print(summary, arguments.out)
    return Exit.DONE


def _print(summary: dict[str, Any], out: Path) -> None:
    say(
        f"{counted(summary['readings'], 'reading', 'readings')} of"
        f" {counted(summary['bags'], 'bag', 'bags')} in"
        f" {counted(summary['cohorts'], 'cohort', 'cohorts')},"
        f" {counted(summary['frames'], 'frame', 'frames')}, {summary['seconds']:.1f} s"
        f" ({summary['readings_per_second']} readings/s)"
    )
    for name, count in summary["alarms"].items():
        say(f"  {name}: {count}")
    for name, count in summary["flags"].items():
        say(f"  readings flagged {name}: {count}")
    for name, count in summary["skipped"].items():
        say(f"  rows skipped, {name}: {count}")
    skipped = summary["skipped_rows"]
    for row in skipped[:_MOST_SKIPPED]:
        say(f"    {row['file']}:{row['line']}: {row['detail']}")
    if len(skipped) > _MOST_SKIPPED:
        say("    further ones stand in summary.json")
    for note in summary["notes"]:
        say(f"  note: {note}")
    say(f"wrote alarms.csv, estimates.csv.gz and summary.json into {out}")
