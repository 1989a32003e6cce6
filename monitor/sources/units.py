"""The units a source may send, and the two bagwatt keeps: °C and per cent relative humidity."""

from __future__ import annotations

import unicodedata
from enum import StrEnum
from functools import lru_cache

from monitor.sources.numbers import UnreadableError, shown
from monitor.values import Quantity, Refusal


class UnknownUnitError(UnreadableError):
    """A unit nobody knows, or one of another quantity."""


class Unit(StrEnum):
    """A unit by the name SenML gives it (RFC 8428, section 12.1), `degF` being the addition."""

    CEL = "Cel"
    DEG_F = "degF"
    KELVIN = "K"
    PERCENT_RH = "%RH"
    RATIO = "/"

    @property
    def quantity(self) -> Quantity:
        """What a number in this unit can only be; a ratio is taken for relative humidity."""
        if self in (Unit.PERCENT_RH, Unit.RATIO):
            return Quantity.HUMIDITY
        return Quantity.TEMPERATURE


_NAMES = {
    Unit.CEL: ("cel", "c", "°c", "ºc", "degc", "deg c", "celsius"),
    Unit.DEG_F: ("degf", "f", "°f", "ºf", "deg f", "fahrenheit"),
    Unit.KELVIN: ("k", "kelvin"),
    Unit.PERCENT_RH: ("%rh", "% rh", "%", "rh", "percent"),
    Unit.RATIO: ("/", "ratio"),
}
_UNIT_OF = {name: unit for unit, names in _NAMES.items() for name in names}
_DEFAULT = {Quantity.TEMPERATURE: Unit.CEL, Quantity.HUMIDITY: Unit.PERCENT_RH}
_QUANTITY_OF = {
    "temperature": Quantity.TEMPERATURE,
    "temp": Quantity.TEMPERATURE,
    "t": Quantity.TEMPERATURE,
    "humidity": Quantity.HUMIDITY,
    "hum": Quantity.HUMIDITY,
    "h": Quantity.HUMIDITY,
    "rh": Quantity.HUMIDITY,
}
_ZERO_CELSIUS_K = 273.15


def quantity_named(text: str) -> Quantity | None:
    """The quantity a topic level or a line field names; None for one bagwatt does not watch."""
    return _QUANTITY_OF.get(text.strip().casefold())


@lru_cache(maxsize=256)
def unit_named(text: str | None, quantity: Quantity) -> Unit:
    """The unit of a `quantity`; °C or %RH where none is named.

    Raises UnknownUnitError for a name not known or of the other quantity.
    """
    if text is None or not text.strip():
        return _DEFAULT[quantity]
    name = unicodedata.normalize("NFC", text.strip()).replace("℃", "°C").replace("℉", "°F")
    unit = _UNIT_OF.get(name.casefold())
    if unit is None or unit.quantity is not quantity:
        raise UnknownUnitError(Refusal.UNKNOWN_UNIT, f"{shown(text)} is no unit of {quantity}")
    return unit


def to_si(number: float, unit: str, quantity: Quantity) -> float:
    """`number` in °C or %RH; beyond 1.8e306 a ratio overflows to infinity, as floats do.

    Raises UnknownUnitError.
    """
    match unit_named(unit, quantity):
        case Unit.DEG_F:
            return (number - 32.0) * 5.0 / 9.0
        case Unit.KELVIN:
            return number - _ZERO_CELSIUS_K
        case Unit.RATIO:
            return number * 100.0
        case _:
            return number
