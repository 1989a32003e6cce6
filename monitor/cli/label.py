"""A sheet of labels for a batch or for single bags: code, strain, day, number and a QR code.

bagwatt label --batch QL-0309 --out sheet.pdf --config DIR

The code opens the bag's page where `book.page_url` is set, else it holds the bag's code, which
`bagwatt walk` takes from a scanner. An .svg has one page: further ones are sheet-2.svg and so
on.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from monitor.book.codes import expand, suggestion
from monitor.book.desk import Desk
from monitor.book.labels import Layout, sheets
from monitor.book.sheet import to_pdf, to_svg
from monitor.cli.booking import add_shared, answer, open_desk
from monitor.cli.exits import Exit
from monitor.errors import BookError
from monitor.values import Bag
from monitor.words.quantities import counted


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt label`."""
    add_shared(parser)
    parser.add_argument("codes", nargs="*", metavar="CODE", help="single bags")
    parser.add_argument("--batch", help="all bags of this batch")
    parser.add_argument("--out", type=Path, required=True, help="a new .pdf or .svg file")
    parser.add_argument("--columns", type=int, default=3, help="labels side by side (default 3)")
    parser.add_argument("--rows", type=int, default=8, help="labels above another (default 8)")
    parser.add_argument("--skip", type=int, default=0, help="labels already gone from the sheet")


def run(arguments: argparse.Namespace) -> Exit:
    """Write the sheet."""
    if arguments.out.suffix not in (".pdf", ".svg"):
        raise BookError(str(arguments.out), "is no kind of sheet", "name it .pdf or .svg")
    if not (1 <= arguments.columns <= 12 and 1 <= arguments.rows <= 40 and arguments.skip >= 0):
        raise BookError("label", "no such sheet", "1 to 12 columns, 1 to 40 rows, skip from 0")
    most = arguments.columns * arguments.rows
    if arguments.skip >= most:
        told = f"a sheet has {counted(most, 'label', 'labels')}, and one must be left on it"
        raise BookError(f"--skip {arguments.skip}", told, f"skip 0 to {most - 1}")
    with open_desk(arguments) as desk:
        bags = _bags(arguments, desk)
        pages = sheets(
            bags,
            desk.settings.book.page_url,
            desk.settings.room.timezone,
            Layout(arguments.columns, arguments.rows),
            arguments.skip,
        )
    if arguments.out.suffix == ".pdf":
        files = {arguments.out: to_pdf(pages)}
    else:
        names = [arguments.out] + [
            arguments.out.with_stem(f"{arguments.out.stem}-{number}")
            for number in range(2, len(pages) + 1)
        ]
        files = {name: to_svg(page).encode() for name, page in zip(names, pages, strict=True)}
    for name, content in files.items():
        _write(name, content)
    lines = [f"{', '.join(map(str, files))}: {counted(len(bags), 'label', 'labels')}"]
    return answer(arguments, {"files": [str(name) for name in files], "labels": len(bags)}, lines)


def _write(name: Path, content: bytes) -> None:
    try:
        with name.open("xb") as handle:
            handle.write(content)
    except FileExistsError as error:
        raise BookError(str(name), "is there already", "name a new file") from error
    except OSError as error:
        raise BookError(
            str(name), f"can't be written ({error.strerror})", "see its folder"
        ) from error


def _bags(arguments: argparse.Namespace, desk: Desk) -> list[Bag]:
    standing = desk.look()
    bags = [standing.bag(standing.code(code)) for code in expand(arguments.codes)]
    if arguments.batch:
        of_batch = [bag for bag in standing.every_bag() if bag.batch == arguments.batch]
        if not of_batch:
            hint = suggestion(arguments.batch, {bag.batch for bag in standing.every_bag()})
            raise BookError(arguments.batch, "no such batch", hint or "see `bagwatt batch list`")
        bags += sorted(of_batch, key=lambda bag: (bag.sequence or 0, bag.bag))
    return bags
