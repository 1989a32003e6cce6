"""The `bagwatt` command: one file per word; the only place that prints or exits."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

from monitor import __version__
from monitor.cli.exits import EXIT_CODES, Exit
from monitor.cli.terminal import say_error
from monitor.errors import BagwattError, BookError, FolderError, SettingsError, WordError

#: Every command with the one line that `--help` shows of it; its module bears its name.
COMMANDS = {
    "watch": "the daemon: read the sources, judge the bags, tell the growers",
    "check": "try settings, sources, store and channels once and say what is wrong",
    "replay": "put a folder of readings on the same road and write what it would have said",
    "alarms": "list alarms; acknowledge, shelve or take them out of service",
    "backup": "write a consistent copy of the store, also while watch runs",
    "mirror": "how far the copy at a server of time series is; send a stretch again",
    "farm": "all rooms of the farm at a glance, and lots that are bad in two of them",
    "page": "where the phone page is and who may log in; passwords and links for it",
    "night": "what happened while you slept, in ten seconds of reading",
    "bag": "show a bag; move it, note what was done to it or seen of it",
    "batch": "enter the bags of a batch, in one line or from CSV",
    "lot": "spawn lots: write one down, show what came of it, hold, release",
    "book": "other records, CSV both ways, who wrote what, undo",
    "walk": "lead through the racks and take infrared readings",
    "label": "a sheet of labels for a batch, each with a QR code",
    "forecast": "peak heat, full run, hot shelves, heat and CO2 of the days ahead",
    "tune": "a strain's thresholds, by what really became of its bags",
    "trace": "what lost bags share; the background loss and what changed it",
}

ABOUT = """\
bagwatt watches inoculated bags through the spawn run and says which one to look at:
the bag warmer or colder than its cohort, the core near its limit, the heater that sticks,
the probe that fell off.

A warm bag is not a diagnosis: it says go and look, and why.
"""


def build_parser(named: str | None = None) -> argparse.ArgumentParser:
    """The whole command line; each command's module adds its own words.

    With the command that was `named` only its module is loaded: a Pi takes a while for all.
    """
    codes = "\n".join(f"  {code.value}  {text}" for code, text in EXIT_CODES.items())
    parser = argparse.ArgumentParser(
        prog="bagwatt",
        description=ABOUT,
        epilog=f"exit codes:\n{codes}\n\n`bagwatt COMMAND --help` explains each command.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"bagwatt {__version__}")
    words = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, line in COMMANDS.items():
        if named not in (None, name):
            words.add_parser(name, help=line)
            continue
        module = importlib.import_module(f"monitor.cli.{name}")
        command = words.add_parser(
            name,
            help=line,
            description=module.__doc__,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        module.add_arguments(command)
        command.set_defaults(run=module.run)
    return parser


def _refuse(strange: Sequence[str], *asked: str) -> None:
    """Raise WordError where a command got words that it does not take."""
    if strange:
        command = " ".join(filter(None, asked))
        told = f"`{' '.join(strange)}` is not taken there"
        raise WordError(command, told, f"see `{command} --help`")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    # Our matrices are small: threads would only wait for each other, and for the sources.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    words = sys.argv[1:] if arguments is None else arguments
    named = next((word for word in words if not word.startswith("-")), "")
    parsed, strange = build_parser(named).parse_known_args(words)
    try:
        _refuse(strange, "bagwatt", parsed.command, getattr(parsed, "verb", ""))
        code: Exit = parsed.run(parsed)
    except SettingsError as error:
        say_error("\n".join(error.problems))
        say_error(str(error))
        return Exit.UNUSABLE
    except (FolderError, BookError, WordError) as error:
        say_error(str(error))
        return Exit.UNUSABLE
    except BagwattError as error:
        say_error(str(error))
        return Exit.FAILED
    except KeyboardInterrupt:
        return Exit.INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
        return Exit.DONE
    return code
