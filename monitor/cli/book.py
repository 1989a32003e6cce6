"""The rest of the book: other records, CSV both ways, who wrote what, taking back the last act.

bagwatt book add strain HX-5 'parents=GO-12;SH-7' --config DIR
bagwatt book export bag bags.csv --config DIR
bagwatt book undo --config DIR

Kinds of records: strain, culture, lot, load, session, recipe, bag-kind; files also of bag,
probe and event. Nothing is overwritten: what is written again is a new version, what is taken
back stays readable. A file comes in whole or not at all; a row that somebody else changed since
the file was written is refused.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from monitor.book.csvfiles import (
    bags_in,
    events_in,
    records_in,
    write_bags,
    write_events,
    write_probes,
    write_records,
)
from monitor.book.desk import Desk
from monitor.book.events import noted
from monitor.book.moments import parse_moment
from monitor.book.records import FIELDS
from monitor.cli.booking import answer, local, open_desk, shared_words, some
from monitor.cli.exits import Exit
from monitor.cli.lot import fields_of
from monitor.cli.terminal import say, say_json, table
from monitor.errors import BookError
from monitor.values import Record
from monitor.words.quantities import counted

FILES = ("bag", "probe", "event")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt book`."""
    verbs = parser.add_subparsers(dest="verb", metavar="WORD", required=True)
    shared = shared_words()
    fields = "; ".join(f"{kind}: {', '.join(names)}" for kind, names in FIELDS.items())
    add = verbs.add_parser(
        "add", parents=[shared], help="a record, or its correction", epilog=fields
    )
    add.add_argument("kind", choices=[*FIELDS])
    add.add_argument("name")
    add.add_argument("fields", nargs="*", metavar="FIELD=VALUE")
    listed = verbs.add_parser("list", parents=[shared], help="the records of a kind")
    listed.add_argument("kind", choices=[*FIELDS])
    out = verbs.add_parser("export", parents=[shared], help="all of a kind into a new CSV file")
    out.add_argument("kind", choices=[*FIELDS, *FILES])
    out.add_argument("file", type=Path)
    into = verbs.add_parser("import", parents=[shared], help="a CSV file, new rows and corrections")
    into.add_argument("kind", choices=[*FIELDS, "bag", "event"])
    into.add_argument("file", type=Path)
    into.add_argument("--sure", action="store_true", help="unusual masses are so")
    log = verbs.add_parser("log", parents=[shared], help="who wrote what, the newest first")
    log.add_argument("--count", type=int, default=20, metavar="N")
    undo = verbs.add_parser("undo", parents=[shared], help="take back your last act")
    undo.add_argument("--anyone", action="store_true", help="the last act of anyone")


def run(arguments: argparse.Namespace) -> Exit:
    """Write, list, or exchange files."""
    with open_desk(arguments) as desk:
        return {
            "add": _add,
            "list": _list,
            "export": _export,
            "import": _import,
            "log": _log,
            "undo": _undo,
        }[arguments.verb](arguments, desk)


def _add(arguments: argparse.Namespace, desk: Desk) -> Exit:
    known = desk.look().record(arguments.kind, arguments.name)
    fields = {**(known.fields if known else {}), **fields_of(arguments.fields)}
    record = Record(arguments.kind, arguments.name, fields)
    done = desk.put_records([record], f"book add {arguments.kind} {arguments.name}")
    line = f"{arguments.kind} {arguments.name} is in the book" if done else "it was so already"
    return answer(arguments, {"kind": record.kind, "name": record.name}, [line])


def _list(arguments: argparse.Namespace, desk: Desk) -> Exit:
    records = desk.look().records[arguments.kind]
    found = [(name, one.now.fields) for name, one in records.items() if isinstance(one.now, Record)]
    if arguments.json:
        say_json([{"name": name, **fields} for name, fields in found])
        return Exit.DONE
    rows = [
        (name, ", ".join(f"{key} {text}" for key, text in fields.items())) for name, fields in found
    ]
    head = (arguments.kind.upper(), "")
    say(table(head, rows) if rows else f"no {arguments.kind} in the book")
    return Exit.DONE


def _export(arguments: argparse.Namespace, desk: Desk) -> Exit:
    standing = desk.look()
    match arguments.kind:
        case "bag":
            count = write_bags(arguments.file, standing.bags.values())
        case "probe":
            count = write_probes(arguments.file, standing.probes.values())
        case "event":
            count = write_events(arguments.file, desk.store.entries())
        case kind:
            count = write_records(arguments.file, kind, standing)
    return answer(
        arguments, {"rows": count}, [f"{arguments.file}: {counted(count, 'row', 'rows')}"]
    )


def _import(arguments: argparse.Namespace, desk: Desk) -> Exit:
    what = f"book import {arguments.kind} {arguments.file.name}"
    match arguments.kind:
        case "bag":
            done = _import_bags(arguments, desk, what)
        case "event":
            done = _import_events(arguments, desk, what)
        case kind:
            records, seen = records_in(arguments.file, kind)
            done = desk.put_records(records, what, seen)
    line = f"{arguments.file}: {len(done)} taken" + (f" ({some(done)})" if done else "")
    return answer(arguments, {"taken": done}, [line])


def _import_bags(arguments: argparse.Namespace, desk: Desk, what: str) -> list[str]:
    """New bags and corrections of known ones, in one act."""
    bags, seen = bags_in(arguments.file)
    known = desk.look().bags
    new = [bag for bag in bags if bag.bag not in known]
    old = [bag for bag in bags if bag.bag in known]
    return desk.take_bags(new, old, what, seen, sure=arguments.sure)


def _import_events(arguments: argparse.Namespace, desk: Desk, what: str) -> list[str]:
    zone = desk.settings.room.timezone
    rows = [
        (bag, noted(kind, facts, sure), parse_moment(time, zone))
        for time, bag, kind, facts, sure in events_in(arguments.file)
    ]
    if not rows:
        raise BookError(str(arguments.file), "has no events", "put a row for each")
    return desk.note_all(rows, what)


def _log(arguments: argparse.Namespace, desk: Desk) -> Exit:
    acts = desk.store.acts(arguments.count)
    if arguments.json:
        say_json([
            {"id": one.id, "at_s": one.at_s, "by": one.by, "what": one.what, "undoes": one.undoes}
            for one in acts
        ])  # fmt: skip
        return Exit.DONE
    rows = [(local(one.at_s, desk), one.by or "-", one.what[:100]) for one in acts]
    say(table(("WRITTEN", "BY", "WHAT"), rows) if rows else "nothing is written yet")
    return Exit.DONE


def _undo(arguments: argparse.Namespace, desk: Desk) -> Exit:
    act = desk.undo(anyone=arguments.anyone)
    line = f"taken back: {act.what} ({act.by}, {local(act.at_s, desk)})"
    return answer(arguments, {"undone": act.id, "what": act.what}, [line])
