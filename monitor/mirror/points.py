"""What a point of the mirror says: measurements, tags and fields, the interface to dashboards.

`reading`   temperature_c [°C, offset added], humidity [%RH]; what a flag puts in doubt stands
            under temperature_doubted_c and humidity_doubted instead. A hand's has no probe.
`estimate`  hourly, of each bag: the thermal model's and the judge's numbers.
`alarm`     a 1 under the name of each transition; standing 1 or 0; urgency 0 later, 1 today, 2 now.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from monitor.mirror.lines import line
from monitor.store.codec import from_text
from monitor.store.copied import CopiedEvent, CopiedReading, JournalRow
from monitor.store.journal import BAG, GONE
from monitor.values import Bag, Estimate, Evidence, Probe, Quantity, Transition, Urgency


class Points:
    """Lines of one room, tagged by the book as it stands; `change` moves the book on."""

    def __init__(self, site: str, room: str, tags: Mapping[str, str]) -> None:
        self._everywhere = {**tags, "site": site, "room": room}
        self._bags: dict[str, Bag] = {}
        self._probes: dict[str, Probe] = {}
        self._by_probe: dict[str, Bag] = {}

    def begin(self, rows: Iterable[JournalRow]) -> None:
        """The book at a place of the log."""
        self._bags, self._probes, self._by_probe = {}, {}, {}
        for row in rows:
            self.change(row)

    def change(self, row: JournalRow) -> None:
        """A new version of a bag or a probe, or its leaving."""
        if row.kind == BAG:
            before = self._bags.pop(row.name, None)
            if before is not None and self._by_probe.get(before.probe) is before:
                del self._by_probe[before.probe]
            if row.body != GONE:
                bag = self._bags[row.name] = from_text(Bag, row.body)
                if bag.probe:
                    self._by_probe[bag.probe] = bag
            return
        self._probes.pop(row.name, None)
        if row.body != GONE:
            self._probes[row.name] = from_text(Probe, row.body)

    def reading(self, one: CopiedReading) -> str:
        """The line of a reading."""
        probe = self._probe(one.probe) if one.probe else Probe("", bag=one.bag)
        humid = one.quantity == Quantity.HUMIDITY
        value = one.value if humid else one.value + probe.offset_k
        name = f"{one.quantity}{'_doubted' * one.doubted}{'' if humid else '_c'}"
        tags = {**self._place(probe), "probe": one.probe}
        return line("reading", self._everywhere | tags, {name: value}, one.at_s)

    def _probe(self, name: str) -> Probe:
        found = self._probes.get(name)
        if found is not None:
            return found
        bag = self._by_probe.get(name)
        return Probe(name) if bag is None else Probe(name, bag.bag)

    def _place(self, probe: Probe) -> dict[str, str]:
        """Where a probe hangs: a bag's probe is where its bag stands."""
        bag = self._bags.get(probe.bag)
        if bag is None:
            return _tags(probe.bag, probe.rack, probe.shelf)
        return _tags(bag.bag, bag.rack, bag.shelf, bag.strain)

    def estimate(self, one: Estimate, evidence: Evidence | None) -> str:
        """The line of what is thought of a bag at a frame's end."""
        fields: dict[str, float | None] = {
            "surface_c": one.surface_c,
            "local_air_c": one.local_air_c,
            "warmth_k": one.excess_k,
            "heat_w_per_kg": one.heat_w_per_kg,
            "heat_low_w_per_kg": one.heat_low_w_per_kg,
            "heat_high_w_per_kg": one.heat_high_w_per_kg,
            "core_c": one.core_c,
            "core_low_c": one.core_low_c,
            "core_high_c": one.core_high_c,
            "rate_k_per_h": one.rate_k_per_h,
        }
        if evidence is not None:
            fields |= {
                "excess_k": evidence.excess_k,
                "added_w": evidence.added_w,
                "added_w_per_kg": evidence.added_w_per_kg,
                "evidence_hot": evidence.hot,
                "evidence_hot_needed": evidence.hot_needed,
                "evidence_stalled": evidence.stalled,
                "evidence_stalled_needed": evidence.stalled_needed,
                "peers": evidence.peers,
            }
        tags = self._place(Probe("", bag=one.bag))
        return line("estimate", self._everywhere | tags, fields, one.at_s)

    def event(self, one: CopiedEvent) -> str:
        """The line of an alarm's transition."""
        facts = one.facts
        tags = _tags(facts.bag, facts.rack, facts.shelf, facts.strain) | {
            "probe": facts.probe,
            "kind": one.kind,
            "subject": one.subject,
        }
        fields = {
            one.transition.replace(" ", "_"): 1.0,
            "standing": float(one.transition != Transition.RETURNED),
            "urgency": float(Urgency(one.urgency).rank),
        }
        return line("alarm", self._everywhere | tags, fields, one.at_s)


def _tags(bag: str, rack: str, shelf: int | None, strain: str = "") -> dict[str, str]:
    shelf_text = "" if shelf is None else str(shelf)
    return {"bag": bag, "rack": rack, "shelf": shelf_text, "strain": strain}


def tried(site: str, room: str, at_s: float) -> str:
    """A point that says nothing but that a server takes points."""
    return line("mirror", {"site": site, "room": room}, {"tried": 1.0}, at_s)
