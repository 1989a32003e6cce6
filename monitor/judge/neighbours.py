"""Who else to look at: beside a bag on its shelf, after it at the hood, out of its spawn."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from monitor.values import Bag


@dataclass(frozen=True, slots=True)
class Neighbours:
    """Codes of bags near another, each in the order a grower would go."""

    next_slot: tuple[str, ...]
    next_inoculated: tuple[str, ...]
    same_lot: tuple[str, ...]


def neighbours(bag: Bag, bags: Mapping[str, Bag]) -> Neighbours:
    """The bags on either side on the same shelf, the two inoculated right after it in the
    same session, and the others of its spawn lot. A bag is named once, in the first group.

    The next bag inoculated shares a bad jar even where it hangs elsewhere (common practice,
    no source).
    """
    others = [other for code, other in sorted(bags.items()) if code != bag.bag]
    next_slot = either_side(bag, others)
    after = [code for code in _after(bag, others) if code not in next_slot][:2]
    named = {*next_slot, *after}
    same_lot = tuple(
        other.bag
        for other in others
        if bag.spawn_lot and other.spawn_lot == bag.spawn_lot and other.bag not in named
    )
    return Neighbours(next_slot, tuple(after), same_lot)


def either_side(bag: Bag, others: Iterable[Bag]) -> tuple[str, ...]:
    """The nearest bags on its shelf, to either side of it; none where slots are not known."""
    if bag.slot is None or bag.shelf is None:
        return ()
    shelf = sorted(
        (other.slot, other.bag)
        for other in others
        if other.slot is not None
        and other.bag != bag.bag
        and (other.rack, other.shelf) == (bag.rack, bag.shelf)
    )
    below = [code for slot, code in shelf if slot < bag.slot][-1:]
    above = [code for slot, code in shelf if slot > bag.slot][:1]
    return tuple(below + above)


def _after(bag: Bag, others: list[Bag]) -> list[str]:
    """Bags inoculated after it in its session, nearest first; none where no order is known."""
    session = bag.session or bag.batch
    mates = [other for other in others if (other.session or other.batch) == session]
    if bag.sequence is not None:
        numbered = [
            (other.sequence, other.bag)
            for other in mates
            if other.sequence is not None and other.sequence > bag.sequence
        ]
        return [code for _, code in sorted(numbered)]
    later = [
        (other.inoculated_s, other.bag) for other in mates if other.inoculated_s > bag.inoculated_s
    ]
    return [code for _, code in sorted(later)]
