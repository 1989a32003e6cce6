"""How bytes become readings: payload shapes, JSON fields, serial lines."""

from __future__ import annotations

import re
from typing import Literal, Self

from pydantic import Field, model_validator

from monitor.settings.model import Model, Way, raise_faults
from monitor.settings.units import UnitName
from monitor.values import Quantity

TimeFormat = Literal["epoch s", "epoch ms", "iso 8601"]
_LINE_GROUPS = ("value", "probe", "quantity", "unit", "time")


def pointer_fault(pointer: str | None) -> str:
    """What is wrong with a JSON Pointer (RFC 6901 section 3), or an empty text."""
    if not pointer:
        return ""
    if not pointer.startswith("/"):
        return f"a JSON Pointer begins with a slash: did you mean `/{pointer.replace('.', '/')}`?"
    if re.search(r"~(?![01])", pointer):
        return "in a JSON Pointer `~` is written `~0` and a `/` inside a name `~1`"
    return ""


def unit_fault(quantity: Quantity, unit: str | None) -> str:
    """Whether a unit can't belong to a quantity, or an empty text."""
    if unit is None or (unit == "%RH") == (quantity is Quantity.HUMIDITY):
        return ""
    fitting = "%RH" if quantity is Quantity.HUMIDITY else "Cel, degF or K"
    return f"{quantity.value} is not measured in {unit}; use {fitting}"


class FieldSettings(Model):
    """One reading inside a JSON message."""

    quantity: Quantity = Field(default=Quantity.TEMPERATURE, description="What the field measures.")
    value: str = Field(description="JSON Pointer to the value, such as `/t` or `/sensors/0/temp`.")
    unit: UnitName | None = Field(
        default=None,
        description="Unit of the value; left out, Cel for temperature and %RH for humidity.",
    )
    unit_at: str | None = Field(
        default=None, description="JSON Pointer to the unit, if it is sent."
    )
    time_at: str | None = Field(
        default=None, description="JSON Pointer to the time of measuring, if it is sent."
    )
    time_format: TimeFormat = Field(default="epoch s", description="How that time is written.")
    probe_at: str | None = Field(
        default=None, description="JSON Pointer to the probe's name, if it is sent."
    )
    probe_suffix: str = Field(
        default="",
        max_length=64,
        description="Put after the probe's name, to tell several probes of one message apart.",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults: list[tuple[Way, str]] = [
            ((key,), fault)
            for key in ("value", "unit_at", "time_at", "probe_at")
            if (fault := pointer_fault(getattr(self, key)))
        ]
        if fault := unit_fault(self.quantity, self.unit):
            faults.append((("unit",), fault))
        raise_faults(faults)
        return self


class PayloadSettings(Model):
    """What one MQTT message looks like."""

    shape: Literal["number", "json", "senml"] = Field(
        default="number", description="A bare number, a JSON object, or SenML (RFC 8428)."
    )
    quantity: Quantity = Field(
        default=Quantity.TEMPERATURE,
        description="What a bare number measures, unless the topic has {quantity}.",
    )
    unit: UnitName | None = Field(
        default=None,
        description="Unit of a bare number; left out, Cel for temperature and %RH for humidity.",
    )
    fields: tuple[FieldSettings, ...] = Field(
        default=(), max_length=64, description="The readings inside a JSON message."
    )
    name_from: Literal["whole", "last"] = Field(
        default="whole",
        description="Probe name of a SenML record: its whole resolved name, "
        "or what follows the last `/` or `:` in it.",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults: list[tuple[Way, str]] = []
        if self.shape == "json" and not self.fields:
            faults.append((("fields",), "shape json needs at least one field to read"))
        if self.shape != "json" and self.fields:
            faults.append((("fields",), f"shape {self.shape} has no fields; use shape: json"))
        if self.shape != "number" and self.unit is not None:
            faults.append(
                (("unit",), f"shape {self.shape} takes its units elsewhere; leave it out")
            )
        elif fault := unit_fault(self.quantity, self.unit):
            faults.append((("unit",), fault))
        raise_faults(faults)
        return self


class LineSettings(Model):
    """What one serial line looks like."""

    shape: Literal["pattern", "json"] = Field(
        default="pattern", description="A regular expression with named groups, or a JSON object."
    )
    pattern: str = Field(
        default="",
        max_length=512,
        description="Regular expression matching the whole line; group `value` is needed, "
        "`probe`, `quantity`, `unit` and `time` are read where present: "
        r"`(?P<probe>\w+) (?P<value>-?\d+\.\d+)`.",
    )
    probe: str = Field(default="", max_length=64, description="Probe name where the line has none.")
    quantity: Quantity = Field(
        default=Quantity.TEMPERATURE, description="Quantity where the line has none."
    )
    unit: UnitName | None = Field(
        default=None,
        description="Unit where the line has none; left out, Cel or %RH by the quantity.",
    )
    fields: tuple[FieldSettings, ...] = Field(
        default=(), max_length=64, description="The readings inside a JSON line."
    )
    checksum: Literal["none", "nmea", "xor8", "sum8", "crc8-maxim", "crc16-modbus"] = Field(
        default="none",
        description="The line ends with `*` and hex digits: this checksum over all before the `*`. "
        "`nmea` is xor8 over what follows a leading `$` or `!`.",
    )
    time_format: TimeFormat = Field(default="epoch s", description="How group `time` is written.")

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.shape == "pattern":
            raise_faults(self._pattern_faults())
        else:
            raise_faults(self._json_faults())
        return self

    def _pattern_faults(self) -> list[tuple[Way, str]]:
        faults: list[tuple[Way, str]] = []
        if self.fields:
            faults.append((("fields",), "shape pattern has no fields; use shape: json"))
        if fault := unit_fault(self.quantity, self.unit):
            faults.append((("unit",), fault))
        try:
            groups = re.compile(self.pattern).groupindex
        except (re.error, OverflowError, RecursionError) as error:
            faults.append((("pattern",), f"not a regular expression: {error}"))
            return faults
        if "value" not in groups:
            faults.append((("pattern",), "needs a named group for the value: (?P<value>…)"))
        if strange := sorted(set(groups) - set(_LINE_GROUPS)):
            names = ", ".join(_LINE_GROUPS)
            faults.append((("pattern",), f"unknown group {strange[0]}; groups are {names}"))
        if "probe" not in groups and not self.probe:
            faults.append((("pattern",), "needs a group (?P<probe>…), or a `probe` beside it"))
        return faults

    def _json_faults(self) -> list[tuple[Way, str]]:
        faults: list[tuple[Way, str]] = []
        if self.pattern:
            faults.append((("pattern",), "shape json has no pattern; use shape: pattern"))
        if not self.fields:
            faults.append((("fields",), "shape json needs at least one field to read"))
        for index, part in enumerate(self.fields):
            if part.probe_at is None and not part.probe_suffix and not self.probe:
                way: Way = ("fields", index)
                faults.append(
                    (way, "whose reading is it? give probe_at, probe_suffix or the line's probe")
                )
        return faults
