"""Which bags of the book stand in the room."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.store.reader import Reader
from monitor.terms import COMES_BACK, LEAVES
from monitor.values import Bag


@dataclass(frozen=True, slots=True)
class RoomBook:
    """Every bag of the book, and those that were not pulled, isolated or taken to fruiting."""

    bags: Mapping[str, Bag]
    in_room: Mapping[str, Bag]


def room_book(store: Reader) -> RoomBook:
    """The bags as the store's journal has them."""
    bags, _ = store.book()
    gone: set[str] = set()
    for one in store.entries():
        if one.struck:
            continue
        if one.entry.event in LEAVES:
            gone.add(one.entry.bag)
        elif one.entry.event == COMES_BACK:
            gone.discard(one.entry.bag)
    return RoomBook(bags, {code: bag for code, bag in bags.items() if code not in gone})
