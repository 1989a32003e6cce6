"""What can't be in the book, each with what to do: a slot taken, a probe on two bags, a mass."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from shlex import quote
from zoneinfo import ZoneInfo

from monitor.book.codes import check_pattern, suggestion
from monitor.book.moments import kept_moment
from monitor.book.places import Place
from monitor.book.records import LOT, STRAIN
from monitor.book.standing import Standing, lot_of, place_of
from monitor.errors import BookError
from monitor.settings.schema import Settings
from monitor.store import Version
from monitor.terms import DAY_S
from monitor.values import Bag

#: Bags of the trade weigh less; more is nearly always a point in the wrong place.
LEAST_KG, MOST_KG = 0.1, 15.0
HIGHEST_SHELF = 20


def written_by(version: Version | None, zone: str) -> str:
    """`entered by Kim on 2026-03-09 10:05`, as far as it is known."""
    if version is None or version.act is None:
        return "from the room's folder"
    at = datetime.fromtimestamp(version.act.at_s, ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")
    return f"entered by {version.act.by or 'somebody'} on {at}"


class Checks:
    """The rules of one farm, asked of the book as it stands."""

    def __init__(self, settings: Settings, standing: Standing, now_s: float) -> None:
        self._settings = settings
        self._standing = standing
        self._now_s = now_s
        self._zone = settings.room.timezone

    def bag(self, bag: Bag, *, sure: bool = False) -> None:
        """A bag by itself. Raises BookError; `sure` lets an unusual mass pass."""
        check_pattern(bag.bag, self._settings.book.bag_code, self._standing.bags)
        self._strain(bag)
        self._mass(bag, sure)
        self._dates(bag)
        if bag.shelf is not None and not 1 <= bag.shelf <= HIGHEST_SHELF:
            raise BookError(
                bag.bag,
                f"shelf {bag.shelf}",
                f"shelves count from 1, the lowest, to {HIGHEST_SHELF}",
            )

    def new(self, bags: Iterable[Bag]) -> None:
        """Codes that are in the book already, and lots on hold. Raises BookError."""
        for bag in bags:
            if bag.bag in self._standing.bags:
                known = self._standing.bags[bag.bag]
                raise BookError(
                    bag.bag,
                    f"is in the book already, {written_by(known, self._zone)}",
                    "choose other codes, or `bagwatt bag correct`",
                )
            held = self._standing.held(lot_of(bag))
            if held:
                lot, record = held
                why = record.fields.get("why", "no reason given")
                raise BookError(
                    bag.bag,
                    f"spawn lot {lot} is on hold ({why})",
                    f"use another lot, or release it: bagwatt lot release {lot}",
                )

    def places(self, bags: Iterable[Bag]) -> None:
        """Two bags in one slot, among these or with one that stands there. Raises BookError."""
        coming = list(bags)
        names = {bag.bag for bag in coming}
        taken = {
            place: code
            for place, code in self._standing.taken_places().items()
            if code not in names
        }
        for bag in coming:
            place = place_of(bag)
            if place.slot is None or not place.rack:
                continue
            if place in taken:
                other = taken[place]
                free = self._next_free(place, taken)
                who = ""
                if other in self._standing.bags:
                    who = f", {written_by(self._standing.bags[other], self._zone)}"
                raise BookError(
                    bag.bag, f"{place} holds {other} already{who}", f"the next free slot is {free}"
                )
            taken[place] = bag.bag

    @staticmethod
    def _next_free(place: Place, taken: dict[Place, str]) -> Place:
        slot = place.slot or 1
        while Place(place.rack, place.shelf, slot) in taken:
            slot += 1
        return Place(place.rack, place.shelf, slot)

    def probes(self, bags: Iterable[Bag]) -> None:
        """One probe on two bags. Raises BookError."""
        hangs: dict[str, str] = {}
        for bag in bags:
            if not bag.probe:
                continue
            self.probe(bag.probe, bag.bag)
            if bag.probe in hangs:
                raise BookError(
                    bag.probe, f"is on {hangs[bag.probe]} and on {bag.bag}", "a probe hangs on one"
                )
            hangs[bag.probe] = bag.bag

    def probe(self, probe: str, code: str) -> None:
        """A probe that is about to hang on a bag. Raises BookError."""
        there = self._standing.probe(probe)
        on = there.bag if there is not None else ""
        on = on or next((bag.bag for bag in self._standing.every_bag() if bag.probe == probe), "")
        if on and on != code and on in self._standing.bags and not self._standing.gone(on):
            raise BookError(
                probe, f"hangs on {on} already", f"take it off first: bagwatt bag probe-off {on}"
            )
        other = self._standing.probe_on(code) if code in self._standing.bags else ""
        if other and other != probe:
            raise BookError(
                code, f"has probe {other} already", f"take it off: bagwatt bag probe-off {code}"
            )

    def after_inoculation(self, bag: Bag, at_s: float, what: str) -> None:
        """An event before the bag was there, or in a time to come. Raises BookError."""
        if at_s < bag.inoculated_s:
            raise BookError(
                bag.bag,
                f"{what} on {self._day(at_s)}, before its inoculation on "
                f"{self._day(bag.inoculated_s)}",
                "mend --at, or correct the inoculation: "
                f"bagwatt bag correct {bag.bag} inoculated=…",
            )
        if at_s > self._now_s + 300:
            raise BookError(bag.bag, f"{what} on {self._day(at_s)}, a time to come", "mend --at")

    def _strain(self, bag: Bag) -> None:
        known = {*self._settings.strains.strains, *self._standing.records[STRAIN]}
        if bag.strain not in known:
            hint = suggestion(bag.strain, known)
            first = f"write it down first: bagwatt book add strain {quote(bag.strain or 'CODE')}"
            what = f"no such strain: {bag.strain or '(none)'}"
            raise BookError(bag.bag, what, f"{hint} or {first}" if hint else first)

    def _mass(self, bag: Bag, sure: bool) -> None:
        if LEAST_KG <= bag.mass_kg <= MOST_KG or (sure and 0 < bag.mass_kg <= 40):
            return
        likely = [
            kg for kg in (bag.mass_kg / 10, bag.mass_kg / 1000, bag.mass_kg * 10)
            if 0.5 <= kg <= 8.0
        ]  # fmt: skip
        sure_of_it = "if it is so, say --sure (up to 40)"
        hint = f"did you mean {likely[0]:g}? {sure_of_it.capitalize()}" if likely else sure_of_it
        raise BookError(bag.bag, f"a mass of {bag.mass_kg:g} kg", hint)

    def _dates(self, bag: Bag) -> None:
        if bag.inoculated_s > self._now_s + DAY_S:
            raise BookError(
                bag.bag, f"inoculated on {self._day(bag.inoculated_s)}, days ahead", "mend the date"
            )
        for kind, name in ((LOT, lot_of(bag)), (LOT, bag.spawn_lot), ("load", bag.load)):
            record = self._standing.record(kind, name)
            made = record.fields.get("made", "") if record is not None else ""
            if made and kept_moment(made, self._zone) > bag.inoculated_s:
                raise BookError(
                    bag.bag,
                    f"inoculated on {self._day(bag.inoculated_s)}, but {kind} {name} was made on "
                    f"{made}",
                    "mend one of the dates",
                )

    def _day(self, at_s: float) -> str:
        return datetime.fromtimestamp(at_s, ZoneInfo(self._zone)).strftime("%Y-%m-%d %H:%M")
