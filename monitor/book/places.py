"""Places in the room: `R1/2/7` is rack R1, shelf 2 (1 is the lowest), slot 7."""

from __future__ import annotations

import re
from dataclasses import dataclass

from monitor.errors import BookError
from monitor.words.quantities import counted

_PLACE = re.compile(r"([^/\s]+)/(\d{1,3})(?:/(\d{1,4}))?")
_SPAN = re.compile(r"(\d+)(?:\.\.(\d+))?")


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Rack, shelf and slot; None where it isn't written down."""

    rack: str
    shelf: int | None = None
    slot: int | None = None

    def __str__(self) -> str:
        parts = [self.rack, self.shelf, self.slot]
        return "/".join(str(part) for part in parts if part not in ("", None)) or "no place"


def parse_place(text: str) -> Place:
    """`R1/2/7`, or `R1/2` without a slot. Raises BookError."""
    found = _PLACE.fullmatch(text.strip())
    if found is None:
        raise BookError(text, "is no place", "write RACK/SHELF/SLOT such as R1/2/7")
    rack, shelf, slot = found.groups()
    return Place(rack, int(shelf), None if slot is None else int(slot))


def rack_order(rack: str) -> list[tuple[bool, int, str]]:
    """R2 before R10: runs of digits count as numbers."""
    parts = re.findall(r"\d+|\D+", rack)
    return [(not part.isdecimal(), int(part) if part.isdecimal() else 0, part) for part in parts]


def place_in(detail: str) -> Place | None:
    """The place that the detail of a `moved` entry names, None where it names none."""
    return parse_place(detail) if _PLACE.fullmatch(detail.strip()) else None


def racking(pattern: str, count: int) -> list[Place]:
    """The first `count` places of a pattern: slot by slot, then shelf by shelf, then rack by rack.

    `R1/2..4/1..8,R2/1..4/1..8` is eight slots on shelves 2 to 4 of R1, then R2.
    Raises BookError where it can't be read or has too few places.
    """
    places: list[Place] = []
    for part in pattern.split(","):
        words = part.strip().split("/")
        if len(words) != 3 or not words[0]:
            raise BookError(part, "is no racking", "write RACK/SHELVES/SLOTS such as R1/2..4/1..8")
        rack, shelves, slots = words[0], _span(words[1], part), _span(words[2], part)
        places += [Place(rack, shelf, slot) for shelf in shelves for slot in slots]
    if len(places) < count:
        few = f"{counted(len(places), 'place', 'places')} for {counted(count, 'bag', 'bags')}"
        raise BookError(pattern, f"has {few}", "name more shelves or slots")
    return places[:count]


def _span(text: str, where: str) -> range:
    found = _SPAN.fullmatch(text)
    first = int(found[1]) if found else 0
    last = int(found[2] or found[1]) if found else 0
    if not 1 <= first <= last <= first + 999:
        raise BookError(where, f"{text!r} is no range", "write 1..8, from the lower number")
    return range(first, last + 1)
