"""Who else to look at: beside a bag on its shelf, after it at the hood, out of its spawn."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from monitor.values import Bag


@dataclass(frozen=True, slots=True)
class Neighbours:
    """Codes of bags near another, each in the order a grower would go."""

    next_slot: tuple[str, ...]
    next_inoculated: tuple[str, ...]
    same_lot: tuple[str, ...]


class Places:
    """The bags of a room by shelf, session and spawn lot, so that many may be asked about; each
    is worked out once it is asked for, as in most frames nobody is."""

    def __init__(self, bags: Mapping[str, Bag]) -> None:
        self._bags = bags

    @cached_property
    def _shelves(self) -> dict[tuple[str, int], list[tuple[int, str]]]:
        found: dict[tuple[str, int], list[tuple[int, str]]] = {}
        for code, bag in self._bags.items():
            if bag.slot is not None and bag.shelf is not None:
                found.setdefault((bag.rack, bag.shelf), []).append((bag.slot, code))
        return {shelf: sorted(places) for shelf, places in found.items()}

    @cached_property
    def _sessions(self) -> dict[str, list[Bag]]:
        found: dict[str, list[Bag]] = {}
        for bag in self._bags.values():
            found.setdefault(bag.session or bag.batch, []).append(bag)
        return found

    @cached_property
    def _lots(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for code, bag in sorted(self._bags.items()):
            if bag.spawn_lot:
                found.setdefault(bag.spawn_lot, []).append(code)
        return found

    def near(self, bag: Bag) -> Neighbours:
        """The bags on either side on the same shelf, the two inoculated right after it in the
        same session, and the others of its spawn lot. A bag is named once, in the first group.

        The next bag inoculated shares a bad jar even where it hangs elsewhere (common practice,
        no source).
        """
        next_slot = self.either_side(bag)
        after = [code for code in self._after(bag) if code not in next_slot][:2]
        named = {bag.bag, *next_slot, *after}
        same_lot = tuple(code for code in self._lots.get(bag.spawn_lot, ()) if code not in named)
        return Neighbours(next_slot, tuple(after), same_lot)

    def either_side(self, bag: Bag) -> tuple[str, ...]:
        """The nearest bags on its shelf, to either side of it; none where slots are not known."""
        if bag.slot is None or bag.shelf is None:
            return ()
        shelf = self._shelves.get((bag.rack, bag.shelf), [])
        below = bisect_left(shelf, bag.slot, key=_slot)
        above = bisect_right(shelf, bag.slot, key=_slot)
        return tuple(code for _, code in (*shelf[max(0, below - 1) : below], *shelf[above:][:1]))

    def _after(self, bag: Bag) -> list[str]:
        """Bags inoculated after it in its session, nearest first; none where no order is known."""
        mates = self._sessions.get(bag.session or bag.batch, [])
        if bag.sequence is not None:
            numbered = [
                (other.sequence, other.bag)
                for other in mates
                if other.sequence is not None and other.sequence > bag.sequence
            ]
            return [code for _, code in sorted(numbered)]
        later = [
            (other.inoculated_s, other.bag)
            for other in mates
            if other.inoculated_s > bag.inoculated_s
        ]
        return [code for _, code in sorted(later)]


def _slot(place: tuple[int, str]) -> int:
    return place[0]


def neighbours(bag: Bag, bags: Mapping[str, Bag]) -> Neighbours:
    """The neighbours of one bag among `bags`; who asks of many keeps the `Places`."""
    return Places(bags).near(bag)
