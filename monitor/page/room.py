"""The room as its rack stands: shelves from the top down, bags in their slots, how each is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from monitor.book.places import rack_order
from monitor.page.colours import step_of
from monitor.page.latest import Latest
from monitor.store import Reader, StandingAlarm
from monitor.store.frames import BagEstimate
from monitor.terms import AlarmKind, Reason
from monitor.values import Bag

#: A slot number beyond this is a slip of the pen, and no shelf is drawn that long.
MOST_SLOTS = 40

#: A bag's state by the kind of its alarm, the graver first: class of its shape, and a word.
ALARMED = {
    AlarmKind.OVERHEATING: ("core", "core"),
    AlarmKind.HOT_BAG: ("hot", "hot"),
    AlarmKind.STALLED_BAG: ("cold", "cold"),
    AlarmKind.PROBE: ("probe", "probe"),
}
_WORDS = {
    Reason.LIKE_ITS_COHORT: "",
    Reason.LEARNING: "new",
    Reason.LOOK_AGAIN: "look",
    Reason.BESIDE_HOT: "beside",
    Reason.HANDLED: "moved",
    Reason.FEW_PEERS: "few",
    Reason.NO_SIGNAL: "none",
}


@dataclass(frozen=True, slots=True)
class Tile:
    """One bag in its slot; `bag` is None for an empty slot."""

    bag: Bag | None
    lead: str = ""
    excess_k: float | None = None
    step: int | None = None
    shape: str = ""
    word: str = ""
    answered: bool = False


@dataclass(frozen=True, slots=True)
class Shelf:
    """A shelf with its slots; `name` is empty where bags have no shelf."""

    name: str
    air_c: float | None
    tiles: tuple[Tile, ...]


@dataclass(frozen=True, slots=True)
class Rack:
    """A rack, its highest shelf first."""

    name: str
    shelves: tuple[Shelf, ...]


@dataclass(frozen=True, slots=True)
class RoomView:
    """All that the rack page shows."""

    at_s: float | None
    racks: tuple[Rack, ...]
    bags: int
    alarms: tuple[StandingAlarm, ...]


def look_at_room(store: Reader, latest: Latest) -> RoomView:
    """The bags that stand in the room, with the newest word on each."""
    bags = latest.book(store).in_room
    at_s, verdicts = latest.verdicts(store)
    alarms = store.standing()
    by_bag = worst_by_bag(alarms)
    names: dict[str, dict[int | None, list[Bag]]] = {}
    for bag in bags.values():
        names.setdefault(bag.rack, {}).setdefault(bag.shelf, []).append(bag)
    leads = heads(bags.values())
    racks = []
    for name in sorted(names, key=lambda rack: (not rack, rack_order(rack))):
        by_shelf = names[name]
        shelves = []
        for number, on_it in sorted(by_shelf.items(), key=lambda one: -(one[0] or 0)):
            tiles = [
                _tile(bag, verdicts.get(bag.bag), by_bag.get(bag.bag), leads.get(bag.bag, ""))
                for bag in sorted(on_it, key=lambda one: (one.slot or 0, one.bag))
            ]
            air = [
                one.local_air_c
                for one, _ in (verdicts[bag.bag] for bag in on_it if bag.bag in verdicts)
                if one.local_air_c is not None
            ]
            shelf_air_c = sum(air) / len(air) if air else None
            title = "" if number is None else str(number)
            shelves.append(Shelf(title, shelf_air_c, _with_gaps(tiles)))
        racks.append(Rack(name, tuple(shelves)))
    return RoomView(at_s, tuple(racks), len(bags), tuple(alarms))


def worst_by_bag(alarms: Iterable[StandingAlarm]) -> dict[str, StandingAlarm]:
    """The gravest alarm that is told of each bag; those explained by a wider one left out."""
    order = list(ALARMED)
    found: dict[str, StandingAlarm] = {}
    for one in alarms:
        code = one.latest.facts.bag or one.latest.subject
        if one.latest.kind not in ALARMED or one.suppressed or one.out_of_service:
            continue
        known = found.get(code)
        if known is None or order.index(one.latest.kind) < order.index(known.latest.kind):
            found[code] = one
    return found


def _tile(bag: Bag, verdict: BagEstimate | None, alarm: StandingAlarm | None, lead: str) -> Tile:
    estimate, evidence = verdict or (None, None)
    excess_k = evidence.excess_k if evidence is not None else None
    shape = "plain"
    word = _WORDS.get(evidence.reason, "look") if evidence is not None else "none"
    if estimate is None or estimate.surface_c is None:
        shape, word, excess_k = "unheard", "none", None  # what it was before is not what it is
    if alarm is not None:
        shape, word = ALARMED[alarm.latest.kind]
    return Tile(
        bag,
        lead,
        excess_k,
        None if excess_k is None else step_of(excess_k),
        shape,
        word,
        alarm is not None and bool(alarm.acknowledged_by or alarm.shelved),
    )


def _with_gaps(tiles: list[Tile]) -> tuple[Tile, ...]:
    """The tiles with an empty one for each slot that has no bag, where slots are numbered."""
    slots: Mapping[int, Tile] = {
        one.bag.slot: one for one in tiles if one.bag is not None and one.bag.slot is not None
    }
    if len(slots) < len(tiles) or not slots or min(slots) < 1:
        return tuple(tiles)
    if max(slots) > min(MOST_SLOTS, 2 * len(tiles) + 1):  # numbered otherwise than by the shelf
        return tuple(tiles)
    return tuple(slots.get(slot, Tile(None)) for slot in range(1, max(slots) + 1))


def heads(bags: Iterable[Bag]) -> dict[str, str]:
    """What begins the codes of a strain's bags alike and is printed small: `GO12-` of GO12-017."""
    by_strain: dict[str, list[str]] = {}
    for bag in bags:
        by_strain.setdefault(bag.strain, []).append(bag.bag)
    found: dict[str, str] = {}
    for codes in by_strain.values():
        first, last = min(codes), max(codes)  # what these two share, all between them share
        pairs = enumerate(zip(first, last, strict=False))
        alike = next((at for at, (one, other) in pairs if one != other), len(first))
        head = first[:alike].rstrip("0123456789")
        found.update({code: "" if code == head else head for code in codes})
    return found
