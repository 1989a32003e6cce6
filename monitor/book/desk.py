"""Writing into the book: each method is one act, checked and written in one transaction.

The checks look at the book inside the transaction, so of two people who want the same slot the
second is told; nothing is ever half-written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace

from monitor.book.checks import Checks, written_by
from monitor.book.codes import resolve
from monitor.book.events import Noted, gone_after
from monitor.book.places import Place
from monitor.book.records import BAG_KIND, FIELDS, LOAD, LOT, RECIPE, SESSION, checked
from monitor.book.standing import Standing, lot_of, without_blanks
from monitor.errors import BookError
from monitor.settings.schema import Settings
from monitor.store import Act, Pen, Store
from monitor.terms import COMES_BACK
from monitor.values import Bag, BookEntry, Probe, Record


class Desk:
    """The book open for one person."""

    def __init__(self, store: Store, settings: Settings, by: str, now_s: float) -> None:
        self.store = store
        self.settings = settings
        self.by = by
        self.now_s = now_s

    def look(self) -> Standing:
        """The book as it stands now."""
        return Standing.read(self.store)

    @contextmanager
    def _act(self, what: str) -> Iterator[tuple[Pen, Standing, Checks]]:
        with self.store.act(self.now_s, self.by, what) as pen:
            standing = Standing.read(self.store)
            yield pen, standing, Checks(self.settings, standing, self.now_s)

    def _names(self, typed: Sequence[str]) -> list[str]:
        """The bags that are meant: a log of short codes would mean others in a year."""
        standing = self.look()
        return [standing.code(code) for code in typed]

    def add_bags(self, bags: Sequence[Bag], what: str, *, sure: bool = False) -> list[str]:
        """New bags; returns what else came into the book with them. Raises BookError."""
        with self._act(what) as (pen, standing, checks):
            checks.new(bags)
            self._check_bags(checks, bags, sure)
            self._put_bags(pen, standing, bags)
            return self._new_names(pen, standing, bags)

    @staticmethod
    def _check_bags(checks: Checks, bags: Sequence[Bag], sure: bool) -> None:
        for bag in bags:
            checks.bag(bag, sure=sure)
        checks.places(bags)
        checks.probes(bags)

    def _put_bags(self, pen: Pen, standing: Standing, bags: Sequence[Bag]) -> None:
        for bag in bags:
            pen.put(bag, self.now_s)
            self._hang(pen, standing, bag)

    def _new_names(self, pen: Pen, standing: Standing, bags: Sequence[Bag]) -> list[str]:
        """Lots, loads, sessions, recipes and kinds that bags name and nobody wrote down yet."""
        found: dict[tuple[str, str], Record] = {}
        for bag in bags:
            lot = {"strain": bag.strain} if bag.strain in standing.records["strain"] else {}
            person = {"person": bag.person} if bag.person else {}
            for kind, name, fields in (
                (LOT, bag.spawn_lot, lot),
                (LOT, lot_of(bag), lot),
                (LOAD, bag.load, {}),
                (SESSION, bag.session, person),
                (RECIPE, bag.recipe, {}),
                (BAG_KIND, bag.bag_kind, {}),
            ):
                if name and name not in standing.records[kind]:
                    found.setdefault((kind, name), Record(kind, name, fields))
        for record in found.values():
            pen.put(record, self.now_s)
        return [f"{kind} {name}" for kind, name in found]

    def correct(
        self, changed: Sequence[Bag], what: str, seen: Mapping[str, int], *, sure: bool = False
    ) -> list[str]:
        """Bags as they should have been written; returns the codes that did change."""
        return self.take_bags((), changed, what, seen, sure=sure)

    def take_bags(
        self,
        new: Sequence[Bag],
        changed: Sequence[Bag],
        what: str,
        seen: Mapping[str, int],
        *,
        sure: bool = False,
    ) -> list[str]:
        """New bags and corrected ones in one act; returns the codes that were written.

        `seen` is the version each was corrected from, where it is known: one changed by
        somebody else since is refused. Raises BookError.
        """
        with self._act(what) as (pen, standing, checks):
            wrong = []
            for bag in changed:
                code = standing.code(bag.bag)
                _not_overtaken(code, seen.get(code), standing, self.settings.room.timezone)
                if without_blanks(standing.bag(code)) != without_blanks(bag):
                    wrong.append(bag)
                    self._events_still_after(bag, standing, checks)
            checks.new(new)
            written = [*new, *wrong]
            self._check_bags(checks, written, sure)
            self._put_bags(pen, standing, written)
            self._new_names(pen, standing, written)
            return [bag.bag for bag in written]

    @staticmethod
    def _events_still_after(bag: Bag, standing: Standing, checks: Checks) -> None:
        for one in standing.entries.get(bag.bag, ()):
            if not one.struck:
                checks.after_inoculation(bag, one.entry.at_s, one.entry.event)

    def move(self, codes: Sequence[str], places: Sequence[Place], at_s: float) -> list[str]:
        """Bags to new places. Raises BookError."""
        names = self._names(codes)
        with self._act(f"move {' '.join(names)}") as (pen, standing, checks):
            moved = [
                replace(standing.bag(name), rack=place.rack, shelf=place.shelf, slot=place.slot)
                for name, place in zip(names, places, strict=True)
            ]
            for bag in moved:
                checks.after_inoculation(bag, at_s, "moved")
                checks.bag(bag, sure=True)
            checks.places(moved)
            for bag, place in zip(moved, places, strict=True):
                pen.put(bag, at_s)
                self._hang(pen, standing, bag)
                facts = {"from": str(_place(standing.bag(bag.bag))), "to": str(place)}
                pen.enter(BookEntry(at_s, bag.bag, "moved", str(place), facts))
            return names

    def note(self, codes: Sequence[str], noted: Noted, at_s: float) -> list[str]:
        """An event of each of these bags. Raises BookError."""
        names = self._names(codes)
        rows = [(name, noted, at_s) for name in names]
        return self.note_all(rows, f"{noted.event} {' '.join(names)}")

    def note_all(self, rows: Sequence[tuple[str, Noted, float]], what: str) -> list[str]:
        """Events (bag, what, when) in one act; returns the bags. Raises BookError."""
        with self._act(what) as (pen, standing, checks):
            said: dict[str, list[str]] = {}
            for code, noted, at_s in rows:
                bag = standing.bag(standing.code(code))
                events = said.setdefault(bag.bag, standing.standing_events(bag.bag))
                checks.after_inoculation(bag, at_s, noted.event)
                if noted.event == COMES_BACK and not gone_after(events):
                    raise BookError(bag.bag, "is in the room already", "nothing to return")
                events.append(noted.event)
                pen.enter(BookEntry(at_s, bag.bag, noted.event, noted.detail, noted.facts))
            checks.places(standing.bag(name) for name in said if COMES_BACK in said[name][-1:])
            return list(said)

    def probe_on(self, code: str, probe: str, at_s: float) -> tuple[str, str]:
        """Hang a probe on a bag; returns both names. Raises BookError."""
        (name,) = self._names([code])
        with self._act(f"probe {probe} on {name}") as (pen, standing, checks):
            bag = standing.bag(name)
            checks.after_inoculation(bag, at_s, "probe on")
            checks.probe(probe, bag.bag)
            pen.put(replace(bag, probe=probe), at_s)
            pen.put(self._probe(probe, bag), at_s)
            pen.enter(BookEntry(at_s, bag.bag, "probe on", probe, {"probe": probe}))
            return bag.bag, probe

    def probe_off(self, code: str, at_s: float) -> tuple[str, str]:
        """Take the probe off a bag; returns both names. Raises BookError."""
        (name,) = self._names([code])
        with self._act(f"probe off {name}") as (pen, standing, checks):
            bag = standing.bag(name)
            probe = standing.probe_on(bag.bag)
            if not probe:
                raise BookError(bag.bag, "has no probe", "see `bagwatt bag list`")
            checks.after_inoculation(bag, at_s, "probe off")
            pen.put(replace(bag, probe=""), at_s)
            if standing.probe(probe) is not None:
                pen.retire(Probe(probe), at_s)
            pen.enter(BookEntry(at_s, bag.bag, "probe off", probe, {"probe": probe}))
            return bag.bag, probe

    def air_probe(self, probe: str, place: Place) -> None:
        """A probe that hangs in the air of a shelf. Raises BookError."""
        with self._act(f"air probe {probe} at {place}") as (pen, standing, _):
            there = standing.probe(probe)
            if there is not None and there.bag:
                raise BookError(
                    probe,
                    f"hangs on {there.bag}",
                    f"take it off first: bagwatt bag probe-off {there.bag}",
                )
            pen.put(self._with_offset(Probe(probe, "", place.rack, place.shelf)), self.now_s)

    def put_records(
        self, records: Sequence[Record], what: str, seen: Mapping[str, int] | None = None
    ) -> list[str]:
        """Records new or corrected; returns the names that changed. Raises BookError."""
        zone = self.settings.room.timezone
        with self._act(what) as (pen, standing, _):
            known: dict[str, dict[str, object]] = {
                kind: dict.fromkeys(names) for kind, names in standing.records.items()
            }
            known["strain"] |= dict.fromkeys(self.settings.strains.strains)
            for record in records:
                known.setdefault(record.kind, {})[record.name] = None
            names = []
            for record in records:
                good = checked(record, known, zone)
                version = standing.records[good.kind].get(good.name)
                if version is not None:
                    _not_overtaken_record(version.id, (seen or {}).get(good.name), good)
                if version is None or version.now != good:
                    pen.put(good, self.now_s)
                    names.append(good.name)
            self._no_rings(records)
            return names

    def _no_rings(self, records: Sequence[Record]) -> None:
        after = self.look()
        for record in records:
            for _, kind, name in after.forebears(record.kind, record.name):
                if (record.kind, record.name) in after.parents(kind, name):
                    raise BookError(
                        f"{record.kind} {record.name}", f"would be its own forebear by {name}",
                        "mend its parent",
                    )  # fmt: skip

    def set_lot(self, lot: str, state: str, why: str) -> list[Bag]:
        """Hold or release a lot; returns the bags of it that stand. Raises BookError."""
        with self._act(f"lot {lot} {state}") as (pen, standing, _):
            lots = {*standing.records[LOT], *(bag.spawn_lot for bag in standing.every_bag())}
            name = resolve(lot, {one for one in lots if one}, "lot")
            record = standing.record(LOT, name) or Record(LOT, name)
            fields = {key: text for key, text in record.fields.items() if key != "why"}
            if fields.get("state", "released") == state:
                raise BookError(f"lot {name}", f"is {state} already", "nothing was written")
            fields |= {"state": state} | ({"why": why} if why else {})
            pen.put(Record(LOT, name, fields), self.now_s)
            return [bag for bag in standing.bags_of_lot(name) if not standing.gone(bag.bag)]

    def undo(self, *, anyone: bool = False) -> Act:
        """Take back the last act of this person, or of anyone. Raises BookError."""
        with self.store.transaction():
            act = self.store.last_act(None if anyone else self.by)
            if act is None:
                raise BookError("undo", "there is nothing to take back", "see `bagwatt book log`")
            pen, bags = self.store.undo(act, self.now_s, self.by)
            standing = Standing.read(self.store)
            for code in bags:
                self._tell_road(pen, standing, code, act)
            return act

    def _tell_road(self, pen: Pen, standing: Standing, code: str, act: Act) -> None:
        """The road was told what is now struck: say by a new entry whether the bag is there."""
        entries = standing.entries.get(code, [])
        told = gone_after([one.entry.event for one in sorted(entries, key=lambda one: one.id)])
        is_gone = standing.gone(code)
        if told == is_gone:
            return
        left = [one.entry for one in entries if not one.struck and gone_after([one.entry.event])]
        event, facts = (left[-1].event, left[-1].facts) if is_gone else (COMES_BACK, {})
        pen.enter(BookEntry(self.now_s, code, event, f"undo: {act.what}", facts))

    def _hang(self, pen: Pen, standing: Standing, bag: Bag) -> None:
        """The probe of a bag goes where the bag goes."""
        before = standing.probe_on(bag.bag)
        if before and before != bag.probe and standing.probe(before) is not None:
            pen.retire(Probe(before), self.now_s)
        if bag.probe:
            pen.put(self._probe(bag.probe, bag), self.now_s)

    def _probe(self, name: str, bag: Bag) -> Probe:
        return self._with_offset(Probe(name, bag.bag, bag.rack, bag.shelf))

    def _with_offset(self, probe: Probe) -> Probe:
        known = self.settings.probes.get(probe.probe)
        if known is None:
            return probe
        return replace(probe, offset_k=known.offset_k, calibrated=str(known.calibrated or ""))


def _place(bag: Bag) -> Place:
    return Place(bag.rack, bag.shelf, bag.slot)


def _not_overtaken(code: str, seen: int | None, standing: Standing, zone: str) -> None:
    version = standing.bags[code]
    if seen is not None and seen != version.id:
        raise BookError(
            code,
            f"was changed since that file was written, {written_by(version, zone)}",
            "export it anew and change that",
        )


def _not_overtaken_record(now_id: int, seen: int | None, record: Record) -> None:
    if seen is not None and seen != now_id:
        raise BookError(
            f"{record.kind} {record.name}",
            "was changed by somebody else since that file was written",
            "export it anew and change that",
        )


__all__ = ["FIELDS", "Desk"]
