"""A shelf's bags as HTML: by hand, as a thousand of them in a template cost three times as much."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from urllib.parse import quote

from markupsafe import Markup, escape

from monitor.page.room import Tile
from monitor.words.quantities import difference, number

_GAP = '<li class="gap"><span class="vh">empty slot</span></li>'
_MOST_KEPT = 4096


def tiles(shelf: Iterable[Tile], units: str) -> Markup:
    """A list item for each slot, with number, shape and word, so that colour says nothing alone."""
    return Markup("\n".join(_item(tile, units) for tile in shelf))  # each item is escaped


def signed(value_k: float, units: str) -> str:
    """A difference with its sign and without its unit, as a tile has room for: "+1.4"."""
    text = number(difference(value_k, units))
    text = text if text.startswith("-") else f"+{text}"
    return text.replace("-", "−")


def bag_path(code: str) -> str:
    """Where a bag's page is."""
    return f"/bag/{quote(code, safe='')}"


def _item(tile: Tile, units: str) -> str:
    if tile.bag is None:
        return _GAP
    number = "·" if tile.excess_k is None else signed(tile.excess_k, units)
    step = "" if tile.step is None else f" w{tile.step}"
    answered = " answered" if tile.answered else ""
    word = f" <i>{escape(tile.word)}</i>" if tile.word else ""
    path, code = _label(tile.bag.bag, tile.lead)
    return (
        f'<li><a class="bag {tile.shape}{step}{answered}" href="{path}">'
        f"{code} <b>{number}</b>{word}</a></li>"
    )


@lru_cache(maxsize=_MOST_KEPT)
def _label(code: str, lead: str) -> tuple[str, str]:
    """Where a bag's page is, and its code with what begins all of its strain read out only."""
    read_out = f'<span class="vh">{escape(lead)}</span>' if lead else ""
    return bag_path(code), f'<span class="code">{read_out}{escape(code[len(lead) :])}</span>'
