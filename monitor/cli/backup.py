"""Write a consistent copy of the store, also while `watch` runs.

TARGET is a new file, or a folder in which one is made with the time in its name. It is written
under another name first, so that a file of the wanted name is always a whole copy.
"""

from __future__ import annotations

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path

from monitor.cli.asking import open_card
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_json
from monitor.clock import SystemClock
from monitor.errors import StoreError
from monitor.settings.load import load_settings
from monitor.store import open_reader
from monitor.words.quantities import counted


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt backup`."""
    parser.add_argument("target", type=Path, metavar="TARGET", help="new file, or a folder")
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    parser.add_argument("--json", action="store_true", help="print as JSON")


def run(arguments: argparse.Namespace) -> Exit:
    """Copy, look the copy through, and only then give it its name."""
    settings = load_settings(arguments.config, os.environ, outside=False)
    target = named(arguments.target, SystemClock().wall_s())
    with open_card(settings) as store:
        store.backup(target)
    with open_reader(target) as copy:
        counts, last = copy.counts(), copy.last_frame()
    told = {
        "file": str(target),
        "bytes": counts.bytes,
        "readings": counts.readings,
        "last_frame_s": last.end_s if last else None,
    }
    if arguments.json:
        say_json(told)
    else:
        readings = counted(counts.readings, "reading", "readings")
        say(f"{target}: {readings}, {counts.bytes / 2**20:.1f} MiB")
    return Exit.DONE


def named(target: Path, now_s: float) -> Path:
    """The file to write. Raises StoreError where there is one already."""
    if target.is_dir():
        stamp = datetime.fromtimestamp(now_s, UTC).strftime("%Y%m%dT%H%M%SZ")
        target = target / f"bagwatt-{stamp}.db"
    if target.exists():
        raise StoreError(str(target), "is there already", "name a new file, or a folder")
    return target
