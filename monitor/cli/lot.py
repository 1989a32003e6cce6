"""Spawn lots: write one down, see what came of it, hold it, release it.

bagwatt lot add GO12-G2-0226/J4 generation=G2 parent=GO12-G1-0212 carrier=jar --config DIR
bagwatt lot show GO12-G2-0226 --config DIR
bagwatt lot hold GO12-G2-0226/J4 --why 'sour at the patch' --config DIR

A jar of a lot is written LOT/JAR and comes from its lot without saying so. While a lot is on
hold, `batch add` takes no bag made with it, with its jars or with anything made from it.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from monitor.book.codes import resolve
from monitor.book.records import FIELDS, LOT
from monitor.book.standing import Standing, lot_of
from monitor.cli.booking import answer, open_desk, shared_words, some, under
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_json, table
from monitor.errors import BookError
from monitor.values import Record


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt lot`."""
    verbs = parser.add_subparsers(dest="verb", metavar="WORD", required=True)
    shared = shared_words()
    add = verbs.add_parser(
        "add",
        parents=[shared],
        help="write a lot down, or correct it",
        epilog="fields: " + ", ".join(FIELDS[LOT]),
    )
    add.add_argument("lot")
    add.add_argument("fields", nargs="*", metavar="FIELD=VALUE")
    verbs.add_parser("list", parents=[shared], help="the lots and their bags")
    show = verbs.add_parser("show", parents=[shared], help="where it came from, what came of it")
    show.add_argument("lot")
    hold = verbs.add_parser("hold", parents=[shared], help="use no sister until it is cleared")
    hold.add_argument("lot")
    hold.add_argument("--why", required=True, help="the reason")
    release = verbs.add_parser("release", parents=[shared], help="it may be used again")
    release.add_argument("lot")
    release.add_argument("--why", default="", help="the reason")


def run(arguments: argparse.Namespace) -> Exit:
    """Write, list or show."""
    match arguments.verb:
        case "add":
            return _add(arguments)
        case "list":
            return _list(arguments)
        case "show":
            return _show(arguments)
    return _set(arguments, "held" if arguments.verb == "hold" else "released")


def fields_of(words: Sequence[str]) -> dict[str, str]:
    """FIELD=VALUE words as fields. Raises BookError."""
    found: dict[str, str] = {}
    for word in words:
        name, equals, value = word.partition("=")
        if not equals:
            raise BookError(word, "is no field", "write FIELD=VALUE such as generation=G2")
        found[name.strip()] = value
    return found


def _add(arguments: argparse.Namespace) -> Exit:
    with open_desk(arguments) as desk:
        known = desk.look().record(LOT, arguments.lot)
        fields = {**(known.fields if known else {}), **fields_of(arguments.fields)}
        done = desk.put_records([Record(LOT, arguments.lot, fields)], f"lot add {arguments.lot}")
    line = f"lot {arguments.lot} is in the book" if done else "it was so already"
    return answer(arguments, {"lot": arguments.lot, "written": bool(done)}, [line])


def _list(arguments: argparse.Namespace) -> Exit:
    with open_desk(arguments) as desk:
        standing = desk.look()
    rows = [_summary(standing, name) for name in _lots(standing)]
    if arguments.json:
        say_json(rows)
        return Exit.DONE
    cells = [
        (
            str(row["lot"]), str(row["strain"] or "-"), str(row["generation"] or "-"),
            str(row["from"] or "-"), str(row["state"]), f"{row['standing']} of {row['bags']}",
        )
        for row in rows
    ]  # fmt: skip
    head = ("LOT", "STRAIN", "GENERATION", "FROM", "STATE", "STANDING")
    say(table(head, cells) if cells else "no lot in the book")
    return Exit.DONE


def _lots(standing: Standing) -> list[str]:
    named = {bag.spawn_lot for bag in standing.every_bag()}
    named |= {lot_of(bag) for bag in standing.every_bag()}
    return sorted({*standing.records[LOT], *named} - {""})


def _summary(standing: Standing, name: str) -> dict[str, str | int]:
    record = standing.record(LOT, name) or Record(LOT, name)
    bags = [bag for bag in standing.every_bag() if name in (bag.spawn_lot, lot_of(bag))]
    held = standing.held(name)
    parents = standing.parents(LOT, name)
    return {
        "lot": name,
        "strain": record.fields.get("strain", bags[0].strain if bags else ""),
        "generation": record.fields.get("generation", ""),
        "from": ", ".join(one for kind, one in parents if kind == LOT),
        "state": f"held ({held[0]})" if held else "free",
        "bags": len(bags),
        "standing": sum(not standing.gone(bag.bag) for bag in bags),
    }


def _show(arguments: argparse.Namespace) -> Exit:
    with open_desk(arguments) as desk:
        standing = desk.look()
    name = resolve(arguments.lot, set(_lots(standing)), "lot")
    back = standing.forebears(LOT, name)
    on = standing.offspring(LOT, name)
    bags = standing.bags_of_lot(name)
    here = [bag.bag for bag in bags if not standing.gone(bag.bag)]
    record = standing.record(LOT, name)
    value = {
        **_summary(standing, name),
        "fields": dict(record.fields) if record else {},
        "comes_from": [{"steps": n, "kind": kind, "name": one} for n, kind, one in back],
        "gave": [{"steps": n, "kind": kind, "name": one} for n, kind, one in on],
        "all_bags": [bag.bag for bag in bags],
        "all_standing": here,
    }
    facts = ", ".join(f"{key} {text}" for key, text in (record.fields if record else {}).items())
    lines = [f"lot {name}  {value['state']}", facts or "nothing more is written of it"]
    lines += under("comes from", [f"{'  ' * n}{kind} {one}" for n, kind, one in back])
    lines += ["", "gave", *(f"{'  ' * n}{kind} {one}" for n, kind, one in on)]
    lines.append(f"  bags: {some([bag.bag for bag in bags])}")
    lines.append(f"  standing: {some(here)}")
    return answer(arguments, value, lines)


def _set(arguments: argparse.Namespace, state: str) -> Exit:
    with open_desk(arguments) as desk:
        bags = desk.set_lot(arguments.lot, state, arguments.why)
    codes = [bag.bag for bag in bags]
    lines = [f"lot {arguments.lot} is {state}; of its bags stand: {some(codes)}"]
    return answer(arguments, {"lot": arguments.lot, "state": state, "standing": codes}, lines)
