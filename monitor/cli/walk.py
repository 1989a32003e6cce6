"""Walk through the racks with the infrared thermometer, rack by rack and shelf by shelf.

At each bag: Enter takes the one suggested, or type or scan another; then type what the
thermometer shows (74.3, 74.3F, 23.5 C). With a point or its unit it may be typed at once; a
bare 24 is a bag's code there. `s` skips a bag, `q` stops. A reading far from the others is asked
for again at the end. Each reading is committed before the next is asked for: a closed terminal
loses nothing, `--resume` goes on.

Aim at a taped patch or a label, not at clear film, from a hand's width away.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from monitor.book.standing import Standing, place_of
from monitor.book.walkbook import WalkBook
from monitor.cli.booking import add_shared, answer, local, none_here, open_desk
from monitor.cli.exits import Exit
from monitor.cli.terminal import YELLOW, paint, say
from monitor.clock import SystemClock
from monitor.errors import BookError
from monitor.settings.schema import Settings
from monitor.words import difference
from monitor.words.quantities import counted, in_units

_SKIP, _QUIT = ("s", "skip"), ("q", "quit")


class _Stopped(Exception):
    """The walker typed `q`, or the terminal is gone."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt walk`."""
    add_shared(parser)
    parser.add_argument("--rack", action="append", default=[], metavar="RACK", help="only there")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--resume", action="store_true", help="go on with the walk left open")
    how.add_argument("--new", action="store_true", help="leave that one and begin anew")
    how.add_argument(
        "--csv", type=Path, metavar="FILE", help="take a logging thermometer's time,bag,value"
    )


def run(arguments: argparse.Namespace) -> Exit:
    """Walk, or take a file."""
    with open_desk(arguments) as desk:
        standing = desk.look()
        walk = WalkBook(desk.store, desk.settings, SystemClock(), standing, arguments.by)
        if arguments.csv:
            counts = walk.take_file(arguments.csv, desk.settings.room.timezone)
            value = {"readings": len(counts), "new": sum(counts)}
            readings = counted(len(counts), "reading", "readings")
            new = counted(sum(counts), f"of {readings} is new", f"of {readings} are new")
            return answer(arguments, value, [new])
        left = desk.store.open_walk()
        mine = left is not None and left[2] == arguments.by
        if left and mine and not (arguments.resume or arguments.new):
            raise BookError(
                "walk",
                f"your walk of {local(left[1], desk)} was not ended",
                "go on with --resume, or begin anew with --new",
            )
        if arguments.resume:
            walk.resume(arguments.rack)
        else:
            walk.begin(arguments.rack)
        if not walk.round.way:
            walk.end()
            say(_no_way(arguments.rack, standing, desk.settings))
            return Exit.DONE
        return _lead(walk, standing, desk.settings.room.units)


def _no_way(asked: Sequence[str] | None, standing: Standing, settings: Settings) -> str:
    """Why there is no bag to go to."""
    racks = sorted({place.rack for place in standing.taken_places()})
    if asked and racks:
        return f"no bag stands in {', '.join(asked)}; there are bags in {', '.join(racks)}"
    return none_here(standing, settings)


def _lead(walk: WalkBook, standing: Standing, units: str) -> Exit:
    way = walk.round
    bags = counted(len(way.way), "bag", "bags")
    say(f"{bags} on the way, {way.taken} read; readings in °{walk.thermometer.unit}")
    try:
        while (code := way.next_bag()) is not None:
            _at_bag(walk, standing, code, units)
        for code in way.again:
            _read_again(walk, standing, code, units)
    except _Stopped:
        say(f"stopped: {way.taken} read, {len(way.again)} to read again; --resume goes on")
        return Exit.DONE
    walk.end()
    say(f"done: {way.taken} of {bags} read")
    return Exit.DONE


def _ask(text: str) -> str:
    try:
        typed = input(text).strip()
    except EOFError as error:
        raise _Stopped from error
    if typed.lower() in _QUIT:
        raise _Stopped
    return typed


def _where(standing: Standing, code: str) -> str:
    return f"{place_of(standing.bag(code))}  {code}"


def _at_bag(walk: WalkBook, standing: Standing, suggested: str, units: str) -> None:
    """One bag: which one, then what the thermometer shows; asked until both are clear."""
    typed = _ask(f"{_where(standing, suggested)}  [Enter, code, or reading] ")
    if typed.lower() in _SKIP:
        walk.skip(suggested)
        return
    code, reading = suggested, ""
    bare = typed.isdecimal()
    if typed and not bare and typed[0] in "+-.0123456789" and not _is_code(walk, typed):
        reading = typed
    elif typed:
        try:
            code = walk.bag(typed).bag
        except BookError as error:
            say(paint(str(error), YELLOW))
            if bare and (meant := walk.thermometer.bare(typed)):
                say(paint(f"to enter the temperature of {suggested} type {meant}", YELLOW))
            return
    while True:
        reading = reading or _ask(f"{code}  °{walk.thermometer.unit} ")
        if reading.lower() in _SKIP:
            walk.skip(code)
            return
        try:
            far_k = walk.take(code, walk.parse(reading))
        except BookError as error:
            say(paint(str(error), YELLOW))
            reading = ""
            continue
        if far_k is not None:
            away = difference(far_k, units)
            say(paint(f"{away} from the others: it is asked again at the end", YELLOW))
        return


def _is_code(walk: WalkBook, typed: str) -> bool:
    """Whether a word that begins with a digit is a bag's code and no reading."""
    try:
        walk.bag(typed)
    except BookError:
        return False
    return True


def _read_again(walk: WalkBook, standing: Standing, code: str, units: str) -> None:
    before = in_units(walk.said_before(code), units)
    say(f"again: {_where(standing, code)}  ({before})")
    while True:
        typed = _ask(f"{code}  °{walk.thermometer.unit} ")
        if typed.lower() in _SKIP:
            walk.skip(code)
            return
        try:
            walk.take(code, walk.parse(typed), again=True)
        except BookError as error:
            say(paint(str(error), YELLOW))
            continue
        return
