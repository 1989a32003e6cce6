"""SenML packs in JSON (RFC 8428) to plain records: base fields applied, times made absolute."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from monitor.sources.fields import make_reading, value_or_refusal
from monitor.sources.jsontext import read_json
from monitor.sources.numbers import UnreadableError, number_in_json, probe_name, shown
from monitor.sources.source import Packet
from monitor.sources.times import Stamp, stated, unknown, unstated
from monitor.sources.units import Unit
from monitor.values import Decoded, Flag, Quantity, Reading, Refusal, Refused

#: Below this a time is relative to now (RFC 8428, section 4.5.3).
RELATIVE_BELOW_S = 268_435_456.0
_VERSION = 10
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_VALUES = ("v", "vs", "vb", "vd")
_UNITS = {"Cel": Unit.CEL, "K": Unit.KELVIN, "degF": Unit.DEG_F, "%RH": Unit.PERCENT_RH}
_RATIOS = ("/", "%")  # "%" is an old alias of "/" and means 0 to 1 (RFC 8428, section 12.1)


@dataclass(frozen=True, slots=True)
class Record:
    """A resolved record. `value` is the sent value with the base value added where both are
    numbers; `time_s` is None where no time was sent, else as sent with the base time added."""

    name: str
    unit: str
    value: object
    time_s: float | None


def resolve(pack: object) -> Iterator[Record]:
    """The records of a pack that hold a value, in order (RFC 8428, section 4.6).

    Raises UnreadableError (not SenML) where the standard says that the pack is not to be used.
    """
    if not isinstance(pack, list) or not pack:
        raise UnreadableError(Refusal.NOT_SENML, "a pack is an array of records")
    base: dict[str, object] = {}
    for record in pack:
        if not isinstance(record, dict):
            raise UnreadableError(Refusal.NOT_SENML, f"{shown(record)} is no record")
        _check_labels(record)
        base.update({key: record[key] for key in ("bn", "bu", "bt", "bv") if key in record})
        kinds = [key for key in _VALUES if key in record]
        if len(kinds) > 1:
            raise UnreadableError(Refusal.NOT_SENML, f"one record with both {' and '.join(kinds)}")
        name = _text(base, "bn") + _text(record, "n")
        if not kinds:
            continue
        if not _NAME.fullmatch(name):
            raise UnreadableError(Refusal.NOT_SENML, f"{shown(name)} is no name")
        yield Record(
            name,
            _text(record, "u") or _text(base, "bu"),
            _value(record, base, kinds[0]),
            _time(record, base),
        )


def decode_senml(packet: Packet, quantity: Quantity, name_from: str) -> Decoded:
    """Temperatures and humidities of a pack; records of other units are passed over.

    `name_from` takes the probe's name from the "whole" resolved name or from what follows the
    "last" slash or colon. The unit "/" also stands for other ratios, so it is read only where
    `quantity` is humidity. A pack that the standard refuses gives no reading at all.
    """
    try:
        records = list(resolve(read_json(packet.payload)))
    except UnreadableError as error:
        return Decoded(refused=(packet.refused(error.reason, error.detail),))
    found: list[Reading | Refused] = []
    for record in records:
        unit = _UNITS.get(record.unit)
        if record.unit in _RATIOS and quantity is Quantity.HUMIDITY:
            unit = Unit.RATIO
        if unit is not None:
            found.append(_reading(packet, record, unit, name_from))
    if not found:
        text = "no temperature or humidity with a unit in the pack"
        found.append(packet.refused(Refusal.MISSING_FIELD, text))
    return Decoded(
        tuple(one for one in found if isinstance(one, Reading)),
        tuple(one for one in found if isinstance(one, Refused)),
    )


def _reading(packet: Packet, record: Record, unit: Unit, name_from: str) -> Reading | Refused:
    stamp = _stamp(packet, record.time_s)

    def make() -> Reading:
        if isinstance(record.value, str):
            raise UnreadableError(Refusal.NOT_A_NUMBER, shown(record.value))
        number = number_in_json(record.value)
        name = record.name
        if name_from == "last":
            name = re.split("[/:]", name)[-1] or name
        return make_reading(packet, probe_name(name), number, unit, stamp)

    return value_or_refusal(packet, "", make)


def _stamp(packet: Packet, time_s: float | None) -> Stamp:
    if time_s is None:
        return unstated(packet)
    if time_s >= RELATIVE_BELOW_S:
        return stated(packet, time_s)
    # "now" is the moment of sending, which a kept or delayed message doesn't tell
    if Flag.RETAINED in packet.marks or Flag.TIME_UNKNOWN in packet.marks:
        return unknown(packet)
    return stated(packet, packet.received_s + time_s)


def _check_labels(record: Mapping[str, object]) -> None:
    for label in record:
        if label.endswith("_"):  # must be understood or the pack refused (section 4.4)
            raise UnreadableError(
                Refusal.NOT_SENML, f"unknown field {shown(label)} must be understood"
            )
    version = record.get("bver", _VERSION)
    if not isinstance(version, int) or isinstance(version, bool) or not 0 < version <= _VERSION:
        raise UnreadableError(Refusal.NOT_SENML, f"version {shown(version)}; {_VERSION} is known")


def _text(fields: Mapping[str, object], label: str) -> str:
    text = fields.get(label, "")
    if not isinstance(text, str):
        raise UnreadableError(Refusal.NOT_SENML, f"{label} is {shown(text)}, not a text")
    return text


def _number(fields: Mapping[str, object], label: str) -> float | None:
    if label not in fields:
        return None
    number = fields[label]
    if isinstance(number, bool) or not isinstance(number, int | float):
        raise UnreadableError(Refusal.NOT_SENML, f"{label} is {shown(number)}, not a number")
    return number_in_json(number)


def _value(record: Mapping[str, object], base: Mapping[str, object], kind: str) -> object:
    value = record[kind]
    base_value = _number(base, "bv")
    if kind != "v" or base_value is None:
        return value
    try:
        return number_in_json(value) + base_value
    except UnreadableError:  # refused where the value is used, so that the other records stand
        return value


def _time(record: Mapping[str, object], base: Mapping[str, object]) -> float | None:
    parts = [part for part in (_number(base, "bt"), _number(record, "t")) if part is not None]
    return sum(parts) if parts else None
