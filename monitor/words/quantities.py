"""Numbers and moments as a person reads them, in degrees Celsius or Fahrenheit."""

from __future__ import annotations

import math
import re
from datetime import datetime, tzinfo

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MINUTE_S, _HOUR_S, _DAY_S = 60, 3600, 86400
_IN_CELSIUS = re.compile(r"(-?\d+(?:\.\d+)?) °C")
_IN_KELVIN = re.compile(r"([+-]?)(\d+(?:\.\d+)?) K\b")

_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:°[CF]|h|min|s|d|days?|%|W/kg|W|kg)(?![A-Za-z]))")


def unbroken(text: str) -> str:
    """The text with no line broken between a number and its unit (no-break spaces, U+00A0)."""
    return _BEFORE_UNIT.sub("\u00a0", text)


def counted(count: int, one: str, many: str) -> str:
    """ "1 bag" or "3 bags"."""
    return f"{count} {one if count == 1 else many}"


def temperature(value_c: float, units: str) -> str:
    """A temperature [°C] with one decimal, in `units` "C" or "F" (t/°F = 1.8 t/°C + 32)."""
    value = value_c * 1.8 + 32.0 if units == "F" else value_c
    return f"{_rounded(value, 1)} °{units}"


def difference(value_k: float, units: str) -> str:
    """A difference of temperatures [K] with one decimal: 1 K is 1.8 °F, without the 32."""
    value = value_k * 1.8 if units == "F" else value_k
    return f"{_rounded(value, 1)} °{units}"


def number(said: str) -> str:
    """The number alone of what is said with its unit: of "21.3 °C" it is "21.3"."""
    return said.partition(" ")[0]


def temperatures(low_c: float, high_c: float, units: str) -> str:
    """A band of temperatures [°C]: "15.0 to 27.0 °C"."""
    return f"{number(temperature(low_c, units))} to {temperature(high_c, units)}"


def a_degree_or_two(units: str) -> str:
    """A fall of one to two degrees, in whole degrees as one sets a thermostat."""
    return "2 to 4 °F" if units == "F" else "1 to 2 °C"


def in_units(text: str, units: str) -> str:
    """A phrase with its temperatures ("21.3 °C") and differences ("+3.2 K") put in `units`."""
    celsius = _IN_CELSIUS.sub(lambda found: temperature(float(found[1]), units), text)
    return _IN_KELVIN.sub(lambda found: found[1] + difference(float(found[2]), units), celsius)


def duration(length_s: float) -> str:
    """A length of time [s, 0 or more] in the one or two units that matter to a grower."""
    if length_s < 1.5 * _MINUTE_S:
        return f"{max(0, round(length_s))} s"
    minutes = round(length_s / _MINUTE_S)
    if minutes < 120:
        return f"{minutes} min"
    if minutes < 600 and minutes % 60:
        return f"{minutes // 60} h {minutes % 60} min"
    hours = round(length_s / _HOUR_S)
    if hours < 48:
        return f"{hours} h"
    return f"{hours // 24} days" + (f" {hours % 24} h" if hours % 24 else "")


def moment(at_s: float, zone: tzinfo, now_s: float) -> str:
    """A moment [s since 1970] on the wall of `zone`: "Tue 21:40", or dated if not this week.

    Never "today" or "yesterday": a message may be read on another day than it was written.
    """
    local = datetime.fromtimestamp(at_s, zone)
    clock = f"{local.hour:02d}:{local.minute:02d}"
    if abs(now_s - at_s) < 6 * _DAY_S:
        return f"{_DAYS[local.weekday()]} {clock}"
    this_year = datetime.fromtimestamp(now_s, zone).year == local.year
    year = "" if this_year else f" {local.year}"
    return f"{local.day} {_MONTHS[local.month - 1]}{year} {clock}"


def odds(evidence: float, what: str) -> str:
    """Natural log odds in words: "odds about 200 to 1 that `what`".

    Odds are rounded down to one figure, so that no message claims more than was found.
    """
    if evidence < 0.0:
        return f"as yet more likely chance than that {what}"
    if evidence < math.log(3.0):
        return f"an even call, or little better, that {what}"
    if evidence > math.log(1000.0):
        return f"as good as certain that {what} (odds over 1,000 to 1)"
    ratio = math.exp(evidence) * (1.0 + 1e-9)
    figure = 10 ** math.floor(math.log10(ratio))
    return f"odds about {math.floor(ratio / figure) * figure} to 1 that {what}"


def watts_per_kg(value: float) -> str:
    """Added heat [W/kg] with two decimals."""
    return f"{_rounded(value, 2)} W/kg"


def _rounded(value: float, decimals: int) -> str:
    """Fixed decimals and never "-0.0"."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}"
