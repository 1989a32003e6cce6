"""The walk with the infrared thermometer: the way round, what was typed, what is suspicious."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from monitor.book.places import rack_order
from monitor.book.standing import Standing, place_of
from monitor.errors import BookError
from monitor.settings.schema import Settings
from monitor.store import WalkStep
from monitor.terms import BY_HAND
from monitor.thermal.infrared import reset_emissivity_c
from monitor.values import Bag, Quantity, Reading

TAKEN, AGAIN, SKIPPED = "taken", "asked again", "skipped"
_TYPED = re.compile(r"([+-]?\d{1,4}(?:[.,]\d{1,3})?)\s*(?:°\s*)?([CFcf]?)")
#: What a bag in any room can read, and how far outside its room's band [K]; beyond it somebody
#: mistyped.
LEAST_C, MOST_C = 8.0, 45.0
BELOW_BAND_K, ABOVE_BAND_K = 12.0, 20.0
#: Further than this from the walk's other readings a reading is asked for again.
FAR_K = 4.0
#: Fewer readings than this say nothing of the others.
ENOUGH = 4


@dataclass(frozen=True, slots=True)
class Typed:
    """A reading as typed: the number, its unit, and what the thermometer showed in °C."""

    raw: float
    unit: str
    shown_c: float

    def __str__(self) -> str:
        return f"{self.raw:g} {self.unit}"


def parse_reading(text: str, unit: str, least_c: float = LEAST_C, most_c: float = MOST_C) -> Typed:
    """`74.3`, `74.3F`, `23.5 C`; without a letter it is in `unit`. Raises BookError.

    A number outside least_c to most_c is refused with the one that was likely meant.
    """
    found = _TYPED.fullmatch(text.strip())
    if found is None:
        raise BookError(
            text.strip() or "''", "is no reading", "type it such as 74.3, 74.3F or 23.5 C"
        )
    number = float(found[1].replace(",", "."))
    in_unit = found[2].upper() or unit
    shown_c = _celsius(number, in_unit)
    if least_c <= shown_c <= most_c:
        return Typed(number, in_unit, shown_c)
    raise BookError(f"{found[1]} {in_unit}", "is no bag's temperature", _meant(number, in_unit))


def _celsius(number: float, unit: str) -> float:
    return (number - 32.0) / 1.8 if unit == "F" else number


def _meant(number: float, unit: str) -> str:
    likely = _likely(number, unit)
    return f"did you mean {likely[0]:g} {likely[1]}? Type it again" if likely else "read it again"


def _likely(number: float, unit: str) -> tuple[float, str] | None:
    """What a number that no bag can read was to be: a point left out or misplaced, or the unit."""
    other = "C" if unit == "F" else "F"
    tries = [(number / 10, unit), (number * 10, unit), (number / 100, unit), (number, other),
             (number / 10, other), (number * 10, other)]  # fmt: skip
    return next((one for one in tries if 14.0 <= _celsius(*one) <= 38.0), None)


class Thermometer:
    """What the surface is when the thermometer shows this, by the settings."""

    def __init__(self, settings: Settings) -> None:
        self._walk = settings.walk
        room = settings.room
        middle_c = (room.band_low_c + room.band_high_c) / 2
        self._reflected_c = (
            middle_c if settings.walk.reflected_c is None else settings.walk.reflected_c
        )
        self.unit = settings.walk.units or room.units
        self._limits_c = room.band_low_c - BELOW_BAND_K, room.band_high_c + ABOVE_BAND_K

    def parse(self, text: str, unit: str = "") -> Typed:
        """What was typed; without a letter in `unit`, else in the settings'. Raises BookError."""
        return parse_reading(text, unit or self.unit, *self._limits_c)

    def bare(self, digits: str) -> str:
        """What a number without point or unit is as a reading: "24.0 C" for 24 and for 240.

        Empty where it can be none; one digit or a leading zero is no temperature.
        """
        if len(digits) < 2 or digits.startswith("0"):
            return ""
        number, (least_c, most_c) = float(digits), self._limits_c
        fits = least_c <= _celsius(number, self.unit) <= most_c
        likely = (number, self.unit) if fits else _likely(number, self.unit)
        return f"{likely[0]:.1f} {likely[1]}" if likely else ""

    def surface_c(self, shown_c: float) -> float:
        """The surface [°C]; equal emissivities give back what was shown."""
        return reset_emissivity_c(
            shown_c,
            self._reflected_c,
            self._walk.thermometer_emissivity,
            self._walk.emissivity,
        )

    def reading(self, bag: str, typed: Typed, at_s: float, received_s: float) -> Reading:
        """A hand reading for the store: the surface, and what was typed beside it."""
        return Reading(
            probe="",
            quantity=Quantity.TEMPERATURE,
            value=self.surface_c(typed.shown_c),
            measured_s=at_s,
            received_s=received_s,
            source=BY_HAND,
            bag=bag,
            raw=typed.raw,
            raw_unit="degF" if typed.unit == "F" else "Cel",
        )


def way_round(standing: Standing, racks: Sequence[str] = ()) -> list[Bag]:
    """The bags in the room by rack, shelf and slot; bags without a place come last."""
    bags = [
        bag
        for bag in standing.every_bag()
        if not standing.gone(bag.bag) and (not racks or bag.rack in racks)
    ]
    return sorted(bags, key=along)


def along(bag: Bag) -> tuple[bool, list[tuple[bool, int, str]], int, int, str]:
    """Where a bag comes on the way: by rack, shelf and slot, those without a place last."""
    place = place_of(bag)
    shelf = 0 if place.shelf is None else place.shelf
    slot = 0 if place.slot is None else place.slot
    return not place.rack, rack_order(place.rack), shelf, slot, bag.bag


class Round:
    """How far a walk has come; rebuilt from its steps after a closed terminal."""

    def __init__(self, way: Sequence[Bag], steps: Sequence[WalkStep] = ()) -> None:
        self.way = [bag.bag for bag in way]
        self._state: dict[str, str] = {}
        self._shown_c: dict[str, float] = {}
        self._at = 0
        for step in steps:
            self.take(step, None)

    def take(self, step: WalkStep, shown_c: float | None) -> None:
        """What was done at a bag; the next one suggested is the one behind it."""
        self._state[step.bag] = step.state
        if shown_c is not None:
            self._shown_c[step.bag] = shown_c
        if step.bag in self.way:
            self._at = self.way.index(step.bag) + 1

    def restore_readings(self, shown_c: Mapping[str, float]) -> None:
        """What the thermometer showed before the walk was interrupted."""
        self._shown_c.update(shown_c)

    @property
    def taken(self) -> int:
        return sum(state == TAKEN for state in self._state.values())

    @property
    def again(self) -> list[str]:
        """Bags to be read again, in the order of the way."""
        waiting = [bag for bag, state in self._state.items() if state == AGAIN]
        return sorted(waiting, key=lambda bag: self.way.index(bag) if bag in self.way else 0)

    def next_bag(self) -> str | None:
        """The next bag not yet looked at, from here on, then from the start."""
        order = [*self.way[self._at :], *self.way[: self._at]]
        return next((bag for bag in order if bag not in self._state), None)

    def far_off(self, bag: str, shown_c: float) -> float | None:
        """How far a reading is from the middle of the others [K], where it is suspicious."""
        others = [value for name, value in self._shown_c.items() if name != bag]
        if len(others) < ENOUGH:
            return None
        off_k = shown_c - median(others)
        return off_k if abs(off_k) > FAR_K else None
