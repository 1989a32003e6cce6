"""Sheets of labels: code, strain, day, sequence, and a QR code that opens the bag's page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from urllib.parse import quote
from zoneinfo import ZoneInfo

from monitor.book.sheet import Box, Line, Page
from monitor.book.standing import lot_of
from monitor.errors import BookError

if TYPE_CHECKING:
    from monitor.values import Bag

#: A reader wants four modules of white around a code (ISO/IEC 18004).
QUIET_MODULES = 4


@dataclass(frozen=True, slots=True)
class Layout:
    """Paper and labels in millimetres; three by eight on A4 fits common sheets of 24."""

    columns: int = 3
    rows: int = 8
    width_mm: float = 210.0
    height_mm: float = 297.0
    side_mm: float = 7.0
    top_mm: float = 8.0

    @property
    def label_mm(self) -> tuple[float, float]:
        return (
            (self.width_mm - 2 * self.side_mm) / self.columns,
            (self.height_mm - 2 * self.top_mm) / self.rows,
        )


def address(code: str, page_url: str) -> str:
    """What the QR code holds: the bag's page, or the bare code where there is no page."""
    return f"{page_url}/bag/{quote(code, safe='')}" if page_url else code


def sheets(
    bags: Sequence[Bag], page_url: str, zone: str, layout: Layout | None = None, skip: int = 0
) -> list[Page]:
    """Pages of labels in the order of the bags; `skip` labels at the start are gone already.

    Raises BookError where there is no bag, or the labels are too small to read.
    """
    layout = layout or Layout()
    if not bags:
        raise BookError("label", "no bags to label", "see `bagwatt batch list`")
    width_mm, height_mm = layout.label_mm
    if min(width_mm, height_mm) < 18:
        raise BookError("label", "labels under 18 mm can't be read", "use fewer rows or columns")
    on_page = layout.columns * layout.rows
    pages: list[Page] = []
    for index, bag in enumerate(bags, start=skip):
        while len(pages) <= index // on_page:
            pages.append(Page(layout.width_mm, layout.height_mm))
        row, column = divmod(index % on_page, layout.columns)
        x_mm = layout.side_mm + column * width_mm
        y_mm = layout.top_mm + row * height_mm
        _label(pages[-1], bag, (x_mm, y_mm, width_mm, height_mm), address(bag.bag, page_url), zone)
    return pages


def _label(
    page: Page, bag: Bag, place_mm: tuple[float, float, float, float], text: str, zone: str
) -> None:
    x_mm, y_mm, width_mm, height_mm = place_mm
    side_mm = min(height_mm - 3.0, width_mm * 0.45)
    page.boxes += _code(text, x_mm + 1.5, y_mm + (height_mm - side_mm) / 2, side_mm)
    left_mm, room_mm = x_mm + side_mm + 2.5, width_mm - side_mm - 4.0
    day = datetime.fromtimestamp(bag.inoculated_s, ZoneInfo(zone)).strftime("%Y-%m-%d")
    number = f"no. {bag.sequence}" if bag.sequence is not None else ""
    big_mm = min(5.5, height_mm / 5.5, room_mm / max(len(bag.bag), 1) * 1.5)
    small_mm = min(3.4, height_mm / 8.5)
    page.lines.append(Line(left_mm, y_mm + height_mm * 0.28, big_mm, bag.bag, bold=True))
    rest = (f"{bag.strain}  {number}".strip(), day, lot_of(bag))
    for index, line in enumerate(rest):
        if line:
            size_mm = min(small_mm, room_mm / len(line) * 1.8)
            down_mm = height_mm * (0.48 + 0.18 * index)
            page.lines.append(Line(left_mm, y_mm + down_mm, size_mm, line))


def _code(text: str, x_mm: float, y_mm: float, side_mm: float) -> list[Box]:
    """A QR code with its quiet zone as boxes, runs of dark modules joined."""
    import segno  # noqa: PLC0415

    matrix = segno.make(text, error="m", micro=False).matrix
    module_mm = side_mm / (len(matrix) + 2 * QUIET_MODULES)
    boxes = []
    for row, modules in enumerate(matrix):
        column = 0
        while column < len(modules):
            run = column
            while run < len(modules) and modules[run]:
                run += 1
            if run > column:
                boxes.append(
                    Box(
                        x_mm + (column + QUIET_MODULES) * module_mm,
                        y_mm + (row + QUIET_MODULES) * module_mm,
                        (run - column) * module_mm,
                        module_mm,
                    )
                )
            column = max(run, column + 1)
    return boxes
