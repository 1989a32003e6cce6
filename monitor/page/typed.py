"""What was typed at a bag on a walk: a temperature, or why it can't be one; pure."""

from __future__ import annotations

import re
from dataclasses import dataclass

_FORM = re.compile(r"(?P<value>\d{1,3}([.,]\d{1,2})?)\s*°?\s*(?P<unit>[CcFf])?")
#: A bag's film between these is believable; beyond is a slip or the wrong unit [°C].
LOWEST_C, HIGHEST_C = 8.0, 45.0


@dataclass(frozen=True, slots=True)
class Typed:
    """A temperature [°C] with the number and unit as typed, or `why` it was not taken."""

    value_c: float = 0.0
    raw: float = 0.0
    raw_unit: str = "Cel"
    why: str = ""


def read_typed(text: str, units: str) -> Typed:
    """`23.5`, `23,5`, `74.3F`: in `units` ("C" or "F") where none is typed.

    A value no bag has is refused with the likely slip, never mended silently.
    """
    text = text.strip()
    form = _FORM.fullmatch(text)
    if form is None:
        return Typed(why=f"“{text[:20]}” is no temperature: type it like 23.5")
    value, unit = float(form["value"].replace(",", ".")), (form["unit"] or units).upper()
    value_c = (value - 32.0) / 1.8 if unit == "F" else value
    if LOWEST_C <= value_c <= HIGHEST_C:
        return Typed(value_c, value, "degF" if unit == "F" else "Cel")
    return Typed(why=f"{value:g} °{unit} is no bag's surface{_meant(value, unit)}")


def _meant(value: float, unit: str) -> str:
    other = "C" if unit == "F" else "F"
    for shown, amount, scale in (
        (f"{value:g} °{other}", value, other),
        (f"{value / 10:g} °{unit}", value / 10, unit),
        (f"{value * 10:g} °{unit}", value * 10, unit),
    ):
        in_c = (amount - 32.0) / 1.8 if scale == "F" else amount
        if LOWEST_C <= in_c <= HIGHEST_C:
            return f"; did you mean {shown}?"
    return ""
