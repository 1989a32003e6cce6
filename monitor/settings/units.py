"""What a value in the settings may look like, turned into SI: `75 F`, `3 F`, `30 min`, `"22:00"`.

Conversions are exact by definition: 1 °F difference = 5/9 K, t/°C = (t/°F − 32) · 5/9.
Every reader raises ValueError with the fix in its text. Numbers given from Python are taken
as SI; from a file a duration must say its unit, a temperature may be bare (°C, K, K/h).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn

from pydantic import BeforeValidator, Strict, ValidationInfo, WithJsonSchema


@dataclass(frozen=True, slots=True)
class FileContext:
    """Handed to the validators when settings come from a file.

    With `outside` false no secret is read and no file is asked for, as a replay wants it.
    """

    config_dir: Path
    env: Mapping[str, str]
    outside: bool = True


@dataclass(frozen=True, slots=True)
class Kind:
    """How a kind of value is called in messages and tables; `unit` is the SI unit inside."""

    says: str
    unit: str = ""


_QUANTITY = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+))\s*(\D*?)\s*")
_COMMA = re.compile(r"\s*[+-]?\d+,\d+")
_EXPONENT = re.compile(r"\s*[+-]?\d+(?:\.\d*)?[eE][+-]?\d+")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")

_DURATIONS_S = {"ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_DURATION_WORDS = {
    "sec": "s",
    "second": "s",
    "seconds": "s",
    "minute": "min",
    "minutes": "min",
    "hour": "h",
    "hours": "h",
    "day": "d",
    "days": "d",
}
_DEGREES = {"": "C", "C": "C", "°C": "C", "Cel": "C", "F": "F", "°F": "F", "degF": "F", "K": "K"}
_READING_UNITS = {"C": "Cel", "°C": "Cel", "F": "degF", "°F": "degF", "%": "%RH"}


def _split(value: object, allowed: str) -> tuple[float, str]:
    """A number and its unit text out of `value`, or ValueError naming the fix."""
    if isinstance(value, bool):
        raise ValueError(f"true and false are no amounts; {allowed}")
    if isinstance(value, int | float):
        if not math.isfinite(value):
            raise ValueError(f"must be a finite number; {allowed}")
        return float(value), ""
    if not isinstance(value, str):
        raise ValueError(allowed)
    if _COMMA.match(value):
        raise ValueError(f"write the decimal with a point, not a comma; {allowed}")
    if _EXPONENT.match(value):
        raise ValueError(f"write the number out, without an exponent; {allowed}")
    found = _QUANTITY.fullmatch(value)
    if found is None:
        raise ValueError(allowed)
    return float(found[1]), found[2]


def temperature_c(value: object) -> float:
    """`24 C`, `75 F`, `297 K` or a bare number of °C, as °C."""
    allowed = "write a temperature such as `24 C` or `75 F`"
    number, unit = _split(value, allowed)
    match _DEGREES.get(unit):
        case "C":
            return number
        case "F":
            return (number - 32.0) * 5.0 / 9.0
        case "K":
            return number - 273.15
        case _:
            raise ValueError(f"`{unit}` is no unit of temperature; {allowed}")


def difference_k(value: object) -> float:
    """`1.5 K`, `1.5 C`, `3 F` (= 1.667 K, no 32 in it) or a bare number of K, as K."""
    allowed = "write a difference such as `1.5 K` or `3 F`"
    number, unit = _split(value, allowed)
    degree = _DEGREES.get(unit)
    if degree is None:
        raise ValueError(f"`{unit}` is no unit of a temperature difference; {allowed}")
    return number * 5.0 / 9.0 if degree == "F" else number


def slope_k_per_h(value: object) -> float:
    """`1.5 K/h`, `3 F/h` or a bare number of K/h, as K/h."""
    allowed = "write a slope such as `1.5 K/h` or `3 F/h`"
    number, unit = _split(value, allowed)
    degree = _DEGREES.get(re.sub(r"\s*/\s*h$", "", unit))
    if degree is None or (unit and not unit.endswith("h")):
        raise ValueError(f"`{unit}` is no unit of slope; {allowed}")
    return number * 5.0 / 9.0 if degree == "F" else number


def power_w(value: object) -> float:
    """`1200 W` or `1.2 kW` or a bare number of W, as W."""
    return _in_units(value, {"": 1.0, "W": 1.0, "kW": 1000.0}, "a power such as `1200 W`")


def volume_m3(value: object) -> float:
    """`60 m3` or a bare number of m³, as m³."""
    return _in_units(value, {"": 1.0, "m3": 1.0, "m³": 1.0}, "a volume such as `60 m3`")


def flow_m3_per_h(value: object) -> float:
    """`30 m3/h` or a bare number of m³/h, as m³/h."""
    return _in_units(value, {"": 1.0, "m3/h": 1.0, "m³/h": 1.0}, "a flow of air such as `30 m3/h`")


def _in_units(value: object, factors: Mapping[str, float], what: str) -> float:
    # The digits of m3 are no part of the number.
    text = value.replace("m3", "m³") if isinstance(value, str) else value
    number, unit = _split(text, f"write {what}")
    if unit not in factors:
        raise ValueError(f"`{unit}` is no unit here; write {what}")
    return number * factors[unit]


def duration_s(value: object, info: ValidationInfo) -> float:
    """`20 s`, `30 min`, `12 h`, `2 d`, `250 ms`, as seconds; bare numbers from Python only."""
    allowed = "write a duration such as `20 s`, `30 min`, `12 h` or `2 d`"
    number, unit = _split(value, allowed)
    if not unit:
        if isinstance(info.context, FileContext):
            raise ValueError(f"{number:g} of what? {allowed}")
        return number
    factor = _DURATIONS_S.get(_DURATION_WORDS.get(unit, unit))
    if factor is None:
        hint = "; `m` could be metres: did you mean `min`?" if unit == "m" else ""
        raise ValueError(f"`{unit}` is no unit of time; {allowed}{hint}")
    return number * factor


def duration_h(value: object, info: ValidationInfo) -> float:
    """As `duration_s` but in hours, also for bare numbers from Python."""
    bare = isinstance(value, int | float) and not isinstance(info.context, FileContext)
    return duration_s(value, info) / (1.0 if bare else 3600.0)


def duration_d(value: object, info: ValidationInfo) -> float:
    """As `duration_s` but in days, also for bare numbers from Python."""
    bare = isinstance(value, int | float) and not isinstance(info.context, FileContext)
    return duration_s(value, info) / (1.0 if bare else 86400.0)


def minute_of_day(value: object, info: ValidationInfo) -> int:
    """`"22:00"` (quoted: YAML reads 22:00 as the number 1320) as minutes after midnight."""
    if isinstance(value, int) and not isinstance(value, bool) and info.context is None:
        return value
    found = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        raise ValueError('write a time of day in quotes, from "00:00" to "23:59"')
    return int(found[1]) * 60 + int(found[2])


def plain_number(value: object) -> float:
    """A finite number, never true or false and never a text."""
    number, unit = _split(value, "write a plain number such as 0.5")
    if unit or isinstance(value, str):
        raise ValueError("write a plain number such as 0.5, without quotes or unit")
    return number


def whole_number(value: object) -> int:
    """A whole number, never true or false and never a text."""
    number = plain_number(value)
    if number != int(number):
        raise ValueError("write a whole number")
    return int(number)


def calendar_day(value: object) -> object:
    """`2026-02-11` (ISO 8601 calendar date) as a date."""
    if isinstance(value, str):
        try:
            return date.fromisoformat(value) if _DAY.fullmatch(value) else _no_day()
        except ValueError:
            _no_day()
    return value if isinstance(value, date) else _no_day()


def _no_day() -> NoReturn:
    raise ValueError("write a day that exists, as 2026-02-11")


def reading_unit(value: object) -> object:
    """The names people write for the four units of a reading, as the names bagwatt uses."""
    return _READING_UNITS.get(value, value) if isinstance(value, str) else value


def config_path(value: object, info: ValidationInfo) -> object:
    """A path; a relative one is taken from the folder the settings lie in."""
    if isinstance(value, str):
        if not value.strip() or "\x00" in value:
            raise ValueError("write a path")
        value = Path(value)
    if isinstance(value, Path) and isinstance(info.context, FileContext):
        return info.context.config_dir / value
    return value


_AMOUNT = r"[+-]?(\d+\.?\d*|\.\d+)\s*"
_DEGREE_PATTERN = "|".join(filter(None, _DEGREES))
_TIME_PATTERN = "|".join([*_DURATIONS_S, *_DURATION_WORDS])


def _amount(description: str, units: str, example: str) -> WithJsonSchema:
    """A text with a unit, or a bare number, for editors."""
    return WithJsonSchema(
        {
            "type": ["string", "number"],
            "pattern": f"^{_AMOUNT}({units})$",
            "examples": [example],
            "title": description,
        }
    )


def _text(description: str, pattern: str, example: str) -> WithJsonSchema:
    return WithJsonSchema(
        {"type": "string", "pattern": pattern, "examples": [example], "title": description}
    )


def _reads(reader: Callable[..., Any]) -> BeforeValidator:
    return BeforeValidator(reader)


TemperatureC = Annotated[
    float,
    Kind("temperature", "°C"),
    _reads(temperature_c),
    _amount("temperature", _DEGREE_PATTERN, "24 C"),
]
DifferenceK = Annotated[
    float,
    Kind("temperature difference", "K"),
    _reads(difference_k),
    _amount("temperature difference", _DEGREE_PATTERN, "1.5 K"),
]
SlopeKPerH = Annotated[
    float,
    Kind("slope", "K/h"),
    _reads(slope_k_per_h),
    _amount("slope", f"({_DEGREE_PATTERN})\\s*/\\s*h", "1.5 K/h"),
]
DurationS = Annotated[
    float,
    Kind("duration", "s"),
    _reads(duration_s),
    _text("duration", f"^{_AMOUNT}({_TIME_PATTERN})$", "30 min"),
]
DurationH = Annotated[
    float,
    Kind("duration", "h"),
    _reads(duration_h),
    _text("duration", f"^{_AMOUNT}({_TIME_PATTERN})$", "5 d"),
]
DurationD = Annotated[
    float,
    Kind("duration", "d"),
    _reads(duration_d),
    _text("duration", f"^{_AMOUNT}({_TIME_PATTERN})$", "14 d"),
]
PowerW = Annotated[float, Kind("power", "W"), _reads(power_w), _amount("power", "W|kW", "1200 W")]
VolumeM3 = Annotated[
    float, Kind("volume", "m3"), _reads(volume_m3), _amount("volume", "m3|m³", "60 m3")
]
FlowM3PerH = Annotated[
    float,
    Kind("flow of air", "m3/h"),
    _reads(flow_m3_per_h),
    _amount("flow of air", "m3/h|m³/h", "30 m3/h"),
]
MinuteOfDay = Annotated[
    int,
    Kind("time of day"),
    _reads(minute_of_day),
    _text("time of day", f"^({_CLOCK.pattern})$", "22:00"),
]
Number = Annotated[float, Kind("number"), _reads(plain_number), WithJsonSchema({"type": "number"})]
Whole = Annotated[
    int, Kind("whole number"), _reads(whole_number), WithJsonSchema({"type": "integer"})
]
UnitName = Annotated[
    Literal["Cel", "degF", "K", "%RH"],
    Kind("unit"),
    _reads(reading_unit),
    WithJsonSchema({"enum": ["Cel", "degF", "K", "%RH", *_READING_UNITS]}),
]
ConfigPath = Annotated[Path, Kind("path"), _reads(config_path), WithJsonSchema({"type": "string"})]
Day = Annotated[
    date, Kind("day"), _reads(calendar_day), _text("day", f"^{_DAY.pattern}$", "2026-02-11")
]


Switch = Annotated[bool, Kind("true or false"), Strict()]
