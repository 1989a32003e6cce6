"""The book as it stands: one consistent look at it, taken inside the transaction that writes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from monitor.book.codes import resolve
from monitor.book.events import gone_after
from monitor.book.places import Place
from monitor.book.records import FIELDS, LOT, lot_name, parents_of
from monitor.store import Entered, Reader, Version
from monitor.values import Bag, Probe, Record


def place_of(bag: Bag) -> Place:
    return Place(bag.rack, bag.shelf, bag.slot)


def lot_of(bag: Bag) -> str:
    """The spawn a bag got: its lot, or the jar of it where the jar is known."""
    return lot_name(bag.spawn_lot, bag.extra.get("jar", ""))


def without_blanks(bag: Bag) -> Bag:
    """The bag without the further columns in which nothing is said of it."""
    return replace(bag, extra={name: text for name, text in bag.extra.items() if text})


@dataclass(slots=True)
class Standing:
    """Bags, probes, records and entries by name, with who wrote them."""

    bags: dict[str, Version] = field(default_factory=dict)
    probes: dict[str, Version] = field(default_factory=dict)
    records: dict[str, dict[str, Version]] = field(default_factory=dict)
    entries: dict[str, list[Entered]] = field(default_factory=dict)

    @classmethod
    def read(cls, store: Reader) -> Standing:
        """Everything, as the store has it now."""
        entries: dict[str, list[Entered]] = {}
        for entered in store.entries():
            entries.setdefault(entered.entry.bag, []).append(entered)
        return cls(
            bags=store.current("bag"),
            probes=store.current("probe"),
            records={kind: store.current(kind) for kind in FIELDS},
            entries=entries,
        )

    def code(self, typed: str) -> str:
        """The bag that is meant. Raises BookError with a suggestion."""
        return resolve(typed, self.bags)

    def bag(self, code: str) -> Bag:
        """A bag that is in the book."""
        now = self.bags[code].now
        assert isinstance(now, Bag)
        return now

    def every_bag(self) -> Iterator[Bag]:
        return (self.bag(code) for code in self.bags)

    def probe(self, name: str) -> Probe | None:
        version = self.probes.get(name)
        return version.now if version and isinstance(version.now, Probe) else None

    def probe_on(self, code: str) -> str:
        """The probe that hangs on a bag, empty where none does."""
        for name in self.probes:
            probe = self.probe(name)
            if probe is not None and probe.bag == code:
                return name
        return self.bag(code).probe if code in self.bags else ""

    def record(self, kind: str, name: str) -> Record | None:
        version = self.records.get(kind, {}).get(name)
        return version.now if version and isinstance(version.now, Record) else None

    def standing_events(self, code: str) -> list[str]:
        """The events of a bag that were not taken back, oldest first."""
        return [one.entry.event for one in self.entries.get(code, ()) if not one.struck]

    def gone(self, code: str) -> bool:
        """Whether a bag is out of the room's spawn run."""
        return gone_after(self.standing_events(code))

    def taken_places(self) -> dict[Place, str]:
        """Which bag stands in which slot; bags that left their spawn run stand in none."""
        return {
            place_of(bag): bag.bag
            for bag in self.every_bag()
            if bag.slot is not None and bag.rack and not self.gone(bag.bag)
        }

    def parents(self, kind: str, name: str) -> list[tuple[str, str]]:
        """(kind, name) of what a record comes from, the nearest first."""
        record = self.record(kind, name) or Record(kind, name)
        return parents_of(record)

    def forebears(self, kind: str, name: str) -> list[tuple[int, str, str]]:
        """(steps back, kind, name) of all a record comes from; each is named once."""
        found: list[tuple[int, str, str]] = []
        seen = {(kind, name)}
        ring = [(kind, name)]
        depth = 0
        while ring:
            depth += 1
            ring = [one for at in ring for one in self.parents(*at) if one not in seen]
            ring = list(dict.fromkeys(ring))
            seen.update(ring)
            found += [(depth, *one) for one in ring]
        return found

    def offspring(self, kind: str, name: str) -> list[tuple[int, str, str]]:
        """(steps on, kind, name) of all records made from one; each is named once."""
        children: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for of_kind, records in self._all_records().items():
            for one in records:
                for parent in self.parents(of_kind, one):
                    children.setdefault(parent, []).append((of_kind, one))
        found: list[tuple[int, str, str]] = []
        seen = {(kind, name)}
        ring, depth = [(kind, name)], 0
        while ring:
            depth += 1
            ring = [one for at in ring for one in children.get(at, ()) if one not in seen]
            ring = list(dict.fromkeys(ring))
            seen.update(ring)
            found += [(depth, *one) for one in ring]
        return found

    def _all_records(self) -> Mapping[str, list[str]]:
        """Names by kind, with the jars that only bags name."""
        named = {kind: dict.fromkeys(records) for kind, records in self.records.items()}
        for bag in self.every_bag():
            named[LOT][lot_of(bag)] = None
        return {kind: list(names) for kind, names in named.items()}

    def bags_of_lot(self, name: str) -> list[Bag]:
        """The bags made with a lot, one of its jars, or anything made from it."""
        lots = {name, *(one for _, kind, one in self.offspring(LOT, name) if kind == LOT)}
        return [bag for bag in self.every_bag() if lots & {bag.spawn_lot, lot_of(bag)}]

    def held(self, name: str) -> tuple[str, Record] | None:
        """The lot itself or the nearest forebear that is on hold."""
        lots = [name, *(one for _, kind, one in self.forebears(LOT, name) if kind == LOT)]
        for lot in lots:
            record = self.record(LOT, lot)
            if record is not None and record.fields.get("state") == "held":
                return lot, record
        return None
