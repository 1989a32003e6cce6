"""Enter a batch: forty bags in one line, or a file of them.

bagwatt batch add QL-0309 'GO12-{017..056}' --strain GO-12 --lot GO12-G2-0226/J4:20 \\
    --lot GO12-G2-0226/J5:20 --load L31 --racking R1/1..5/1..8 --mass 2.3 --config DIR

The codes are in the order of inoculation. A lot (or LOT/JAR) with `:8` gave the next eight
bags, with `:017..024` those; `--position 'lower back:8'` says the same of places in the
steriliser. Nothing is written unless all of it can be.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from monitor.book.codes import count_on, expand, shares
from monitor.book.csvfiles import bags_in
from monitor.book.desk import Desk
from monitor.book.moments import parse_moment
from monitor.book.places import Place, racking
from monitor.cli.arguments import duration_argument, mass_argument
from monitor.cli.booking import answer, local, open_desk, shared_words, some
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_json, table
from monitor.errors import BookError
from monitor.values import Bag


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt batch`."""
    verbs = parser.add_subparsers(dest="verb", metavar="WORD", required=True)
    add = verbs.add_parser("add", parents=[shared_words()], help="enter the bags of a batch")
    add.add_argument("batch", nargs="?", default="", help="the batch's own code")
    add.add_argument("codes", nargs="*", metavar="CODE", help="codes, or 'GO12-{017..056}'")
    add.add_argument("--csv", type=Path, metavar="FILE", help="read them from a file as bags.csv")
    add.add_argument("--count", type=int, metavar="N", help="count on from the one CODE given")
    add.add_argument("--strain", default="", help="the strain")
    add.add_argument("--lot", action="append", default=[], metavar="LOT[/JAR][:BAGS]")
    add.add_argument("--load", action="append", default=[], metavar="LOAD[:BAGS]")
    add.add_argument("--position", action="append", default=[], metavar="PLACE[:BAGS]",
                     help="where in the steriliser")  # fmt: skip
    add.add_argument("--session", default="", help="inoculation session (default: the batch)")
    add.add_argument("--sequence", type=int, default=1, metavar="N", help="number of the first bag")
    add.add_argument("--person", default="", help="who inoculated")
    add.add_argument("--inoculated", metavar="TIME", help="when the first one was (default: now)")
    add.add_argument("--pace", type=duration_argument, default=0.0, metavar="DURATION",
                     help="from one bag to the next, such as `40 s`")  # fmt: skip
    add.add_argument("--recipe", default="", help="the recipe")
    add.add_argument("--kind", default="", help="the kind of bag")
    add.add_argument("--mass", type=mass_argument, metavar="KG", help="fresh mass of a bag")
    add.add_argument("--racking", metavar="PLACES", help="such as R1/2..4/1..8, filled in order")
    add.add_argument("--sure", action="store_true", help="an unusual mass is so")
    shown = verbs.add_parser("list", parents=[shared_words()], help="the batches and their bags")
    shown.add_argument("--all", action="store_true", help="batches without a standing bag too")


def run(arguments: argparse.Namespace) -> Exit:
    """Enter or list."""
    with open_desk(arguments) as desk:
        if arguments.verb == "list":
            return _list(arguments, desk)
        bags = _from_file(arguments) if arguments.csv else _from_line(arguments, desk)
        what = f"batch add {arguments.csv.name if arguments.csv else arguments.batch}"
        new = desk.add_bags(bags, what, sure=arguments.sure)
    codes = [bag.bag for bag in bags]
    lines = [f"entered {some(codes)}"]
    if new:
        lines.append(f"new in the book: {', '.join(new)}")
    return answer(arguments, {"entered": codes, "new": new}, lines)


def _from_file(arguments: argparse.Namespace) -> list[Bag]:
    if arguments.codes or arguments.lot or arguments.strain:
        raise BookError("--csv", "the file says all of it", "leave the other words out")
    bags, _ = bags_in(arguments.csv)
    return [replace(bag, batch=bag.batch or arguments.batch) for bag in bags]


def _from_line(arguments: argparse.Namespace, desk: Desk) -> list[Bag]:
    codes = _codes(arguments)
    for name in ("strain", "mass"):
        if not getattr(arguments, name):
            raise BookError(f"--{name}", "is missing", f"say the {name} of these bags")
    zone = desk.settings.room.timezone
    start_s = parse_moment(arguments.inoculated, zone) if arguments.inoculated else desk.now_s
    count = len(codes)
    places = racking(arguments.racking, count) if arguments.racking else [Place("")] * count
    lots = shares(arguments.lot, codes, "lot")
    loads = shares(arguments.load, codes, "load")
    positions = shares(arguments.position, codes, "position")
    return [
        _bag(arguments, codes[i], i, places[i], lots[i], loads[i], positions[i], start_s)
        for i in range(count)
    ]


def _bag(
    arguments: argparse.Namespace,
    code: str,
    index: int,
    place: Place,
    lot: str,
    load: str,
    position: str,
    start_s: float,
) -> Bag:
    name, _, jar = lot.partition("/")
    extra = {"jar": jar, "load_position": position}
    return Bag(
        bag=code,
        batch=arguments.batch,
        strain=arguments.strain,
        spawn_lot=name,
        inoculated_s=start_s + index * arguments.pace,
        mass_kg=arguments.mass,
        rack=place.rack,
        shelf=place.shelf,
        slot=place.slot,
        session=arguments.session or arguments.batch,
        sequence=arguments.sequence + index,
        load=load,
        recipe=arguments.recipe,
        bag_kind=arguments.kind,
        person=arguments.person,
        extra={name: text for name, text in extra.items() if text},
    )


def _codes(arguments: argparse.Namespace) -> list[str]:
    if not arguments.codes:
        raise BookError("batch add", "no codes", "write BATCH 'GO12-{017..056}', or --csv FILE")
    if arguments.count is None:
        return expand(arguments.codes)
    if len(arguments.codes) != 1:
        raise BookError("--count", "counts on from one code", "write the first code only")
    return count_on(arguments.codes[0], arguments.count)


def _list(arguments: argparse.Namespace, desk: Desk) -> Exit:
    standing = desk.look()
    batches: dict[str, list[Bag]] = {}
    for bag in standing.every_bag():
        batches.setdefault(bag.batch, []).append(bag)
    rows: list[dict[str, Any]] = []
    for name, bags in sorted(batches.items(), key=lambda one: min(b.inoculated_s for b in one[1])):
        here = [bag for bag in bags if not standing.gone(bag.bag)]
        if here or arguments.all:
            rows.append(
                {
                    "batch": name,
                    "inoculated_s": min(bag.inoculated_s for bag in bags),
                    "strains": sorted({bag.strain for bag in bags}),
                    "lots": sorted({bag.spawn_lot for bag in bags if bag.spawn_lot}),
                    "bags": len(bags),
                    "standing": len(here),
                }
            )
    if arguments.json:
        say_json(rows)
        return Exit.DONE
    cells = [
        (
            str(row["batch"]),
            local(row["inoculated_s"], desk),
            ", ".join(row["strains"]),
            f"{row['standing']} of {row['bags']}",
            ", ".join(row["lots"]),
        )
        for row in rows
    ]
    head = ("BATCH", "INOCULATED", "STRAIN", "STANDING", "LOTS")
    say(table(head, cells) if cells else "no batch in the room")
    return Exit.DONE
