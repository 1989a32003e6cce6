"""Show a bag, move it, and note what was done to it or seen of it.

bagwatt bag show GO12-017 --config DIR
bagwatt bag move 017 R2/3/4 --config DIR
bagwatt bag inspected 017 --run 60 --smell sour --look 'wet spots' --config DIR
bagwatt bag pulled 017 --cause yeast --surely --config DIR

A CODE may be short where it fits only one bag, or a range such as 'GO12-{017..021}'. Never
open a suspect bag indoors: seal it in a second bag where it stands and carry it out last.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from monitor.book.codes import expand
from monitor.book.events import EVENTS, FACTS, EventKind, noted
from monitor.book.history import export_folder
from monitor.book.moments import parse_moment
from monitor.book.places import parse_place
from monitor.cli import bag_pages
from monitor.cli.booking import answer, moment, open_desk, shared_words, some, time_words
from monitor.cli.exits import Exit
from monitor.errors import BookError
from monitor.terms import LEAVES
from monitor.words.quantities import counted

#: Said when a suspect bag is handled.
ADVICE = {
    "pulled": "seal it in a second bag where it stands, carry it out last; do not open it indoors",
    "isolated": "carry it last; do not open it indoors",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt bag`."""
    verbs = parser.add_subparsers(dest="verb", metavar="WORD", required=True)
    shared, timed = shared_words(), time_words()
    show = verbs.add_parser("show", parents=[shared], help="its lineage, events and sisters")
    show.add_argument("code")
    listed = verbs.add_parser("list", parents=[shared], help="the bags in the room")
    listed.add_argument("--batch", help="of this batch only")
    listed.add_argument("--all", action="store_true", help="those that left as well")
    move = verbs.add_parser("move", parents=[shared, timed], help="to another place")
    move.add_argument("moves", nargs="+", metavar="CODE PLACE", help="such as 017 R2/3/4")
    for kind in EVENTS:
        word = verbs.add_parser(kind.word, parents=[shared, timed], help=kind.help)
        word.add_argument("codes", nargs="+", metavar="CODE")
        for fact in kind.facts:
            told = FACTS[fact]
            choice = f" ({', '.join(told.words)})" if told.words else ""
            text = (told.help + choice).replace("%", "%%")
            word.add_argument(f"--{fact}", dest=f"fact_{fact}", metavar=fact.upper(), help=text)
        if kind.event == "pulled":
            sure = word.add_mutually_exclusive_group()
            sure.add_argument("--surely", action="store_true", help="the cause is sure")
            sure.add_argument("--maybe", action="store_true", help="the cause is a guess (default)")
        word.set_defaults(kind=kind)
    on = verbs.add_parser("probe-on", parents=[shared, timed], help="a probe is hung on it")
    on.add_argument("code")
    on.add_argument("probe")
    off = verbs.add_parser("probe-off", parents=[shared, timed], help="its probe is taken off")
    off.add_argument("code")
    air = verbs.add_parser("air-probe", parents=[shared], help="a probe hangs in a shelf's air")
    air.add_argument("probe")
    air.add_argument("place", help="such as R1/1")
    correct = verbs.add_parser("correct", parents=[shared], help="what was written wrongly")
    correct.add_argument("code")
    correct.add_argument("changes", nargs="+", metavar="FIELD=VALUE")
    correct.add_argument("--sure", action="store_true", help="an unusual mass is so")
    export = verbs.add_parser("export", parents=[shared], help="a stretch of history, to replay")
    export.add_argument("out", type=Path)
    export.add_argument("--from", dest="since", required=True, metavar="TIME")
    export.add_argument("--to", dest="until", metavar="TIME", help="(default: now)")


def run(arguments: argparse.Namespace) -> Exit:
    """Show, or write."""
    kind: EventKind | None = getattr(arguments, "kind", None)
    if kind is not None:
        return _note(arguments, kind)
    return {
        "show": bag_pages.show,
        "list": bag_pages.listed,
        "move": _move,
        "probe-on": _probe_on,
        "probe-off": _probe_off,
        "air-probe": _air_probe,
        "correct": bag_pages.correct,
        "export": _export,
    }[arguments.verb](arguments)


def _note(arguments: argparse.Namespace, kind: EventKind) -> Exit:
    given = {fact: getattr(arguments, f"fact_{fact}") for fact in kind.facts}
    surely = True if getattr(arguments, "surely", False) else None
    event = noted(kind, given, surely)
    with open_desk(arguments) as desk:
        before = desk.look()
        names = desk.note(expand(arguments.codes), event, moment(arguments, desk))
        standing = desk.look()
        probes = {name: standing.probe_on(name) for name in names}
    said = f"{some(names)}: {event.event}" + (f" ({event.detail})" if event.detail else "")
    lines = [said, *([ADVICE[event.event]] if event.event in ADVICE else [])]
    if event.event in LEAVES:
        lines += [
            f"{name}: `{event.event}` stood there already; was it another bag? bagwatt book undo"
            for name in names
            if before.gone(name) and event.event in before.standing_events(name)
        ]
    if event.event in ("pulled", "to fruiting", "composted"):
        lines += [
            f"its probe {probe} still hangs on it: bagwatt bag probe-off {name}"
            for name, probe in probes.items()
            if probe
        ]
    value = {"bags": names, "event": event.event, "detail": event.detail}
    return answer(arguments, value, lines)


def _move(arguments: argparse.Namespace) -> Exit:
    words = arguments.moves
    if len(words) % 2:
        raise BookError("move", "wants codes and places in turn", "write 017 R2/3/4 018 R2/3/5")
    places = [parse_place(text) for text in words[1::2]]
    with open_desk(arguments) as desk:
        names = desk.move(words[::2], places, moment(arguments, desk))
        standing = desk.look()
    lines = [
        f"{name} left the room, and is now written at {place}; where it is back in its spawn run: "
        f"bagwatt bag returned {name}"
        if standing.gone(name)
        else f"{name} stands at {place}"
        for name, place in zip(names, places, strict=True)
    ]
    return answer(arguments, {"moved": dict(zip(names, map(str, places), strict=True))}, lines)


def _probe_on(arguments: argparse.Namespace) -> Exit:
    with open_desk(arguments) as desk:
        name, probe = desk.probe_on(arguments.code, arguments.probe, moment(arguments, desk))
    return answer(arguments, {"bag": name, "probe": probe}, [f"{probe} hangs on {name}"])


def _probe_off(arguments: argparse.Namespace) -> Exit:
    with open_desk(arguments) as desk:
        name, probe = desk.probe_off(arguments.code, moment(arguments, desk))
    return answer(arguments, {"bag": name, "probe": probe}, [f"{probe} is off {name}"])


def _air_probe(arguments: argparse.Namespace) -> Exit:
    place = parse_place(arguments.place)
    with open_desk(arguments) as desk:
        desk.air_probe(arguments.probe, place)
    line = f"{arguments.probe} hangs in the air of {place}"
    return answer(arguments, {"probe": arguments.probe, "place": str(place)}, [line])


def _export(arguments: argparse.Namespace) -> Exit:
    with open_desk(arguments) as desk:
        zone = desk.settings.room.timezone
        until_s = parse_moment(arguments.until, zone) if arguments.until else desk.now_s
        done = export_folder(
            desk.store, arguments.out, parse_moment(arguments.since, zone), until_s
        )
    value = {
        "bags": done.bags, "probes": done.probes, "readings": done.readings,
        "walks": done.walks, "entries": done.entries, "left_out": dict(done.left_out),
    }  # fmt: skip
    lines = [
        f"{arguments.out}: {counted(done.bags, 'bag', 'bags')}, "
        f"{counted(done.probes, 'probe', 'probes')}, "
        f"{counted(done.readings, 'reading', 'readings')}, "
        f"{done.walks} by hand, {counted(done.entries, 'entry', 'entries')}"
    ]
    lines += [f"left out: {count} {why}" for why, count in sorted(done.left_out.items())]
    return answer(arguments, value, lines)
