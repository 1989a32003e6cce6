"""Readings out of one JSON value by JSON Pointers (RFC 6901): for MQTT messages and lines alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from jsonpointer import JsonPointer

from monitor.settings.schema_payload import FieldSettings
from monitor.sources.jsontext import look_up, read_json
from monitor.sources.numbers import UnreadableError, number_in_json, probe_name, shown
from monitor.sources.source import Packet
from monitor.sources.times import Stamp, read_time, stated, unknown, unstated
from monitor.sources.units import Unit, to_si, unit_named
from monitor.values import Decoded, Reading, Refusal, Refused


def make_reading(packet: Packet, probe: str, number: float, unit: Unit, stamp: Stamp) -> Reading:
    """A reading in °C or %RH that keeps the number as sent."""
    return Reading(
        probe=probe,
        quantity=unit.quantity,
        value=number_in_json(to_si(number, unit, unit.quantity)),
        measured_s=stamp.measured_s,
        received_s=packet.received_s,
        source=packet.source,
        raw=number,
        raw_unit=str(unit),
        marks=stamp.marks,
    )


def stamp_of(packet: Packet, read: Callable[[], float] | None) -> tuple[Stamp, str]:
    """The stamp of a reading, and what is wrong with its stated time or an empty text.

    `read` gives the stated time or raises UnreadableError; None where none is stated.
    """
    if read is None:
        return unstated(packet), ""
    try:
        return stated(packet, read()), ""
    except UnreadableError as error:
        if error.reason is Refusal.MISSING_FIELD:
            return unstated(packet), ""
        return unknown(packet), error.detail


def value_or_refusal(
    packet: Packet, time_fault: str, make: Callable[[], Reading]
) -> Reading | Refused:
    """The reading; where its value is no good either, a bad time is the reason told."""
    try:
        return make()
    except UnreadableError as error:
        if time_fault:
            return packet.refused(Refusal.BAD_TIME, f"{time_fault}; value: {error.detail}")
        return packet.refused(error.reason, error.detail)


@dataclass(frozen=True, slots=True)
class _Field:
    """A field with its pointers compiled."""

    settings: FieldSettings
    value: JsonPointer
    unit_at: JsonPointer | None
    time_at: JsonPointer | None
    probe_at: JsonPointer | None


class FieldReader:
    """Reads the fields named in settings out of JSON messages."""

    def __init__(self, fields: Sequence[FieldSettings]) -> None:
        self._fields = tuple(
            _Field(
                field,
                JsonPointer(field.value),
                _pointer(field.unit_at),
                _pointer(field.time_at),
                _pointer(field.probe_at),
            )
            for field in fields
        )

    def decode(self, packet: Packet, payload: bytes, probe: str) -> Decoded:
        """Readings of the fields that are there; `probe` names fields that don't say whose.

        Fields come and go from message to message, so one that is missing is no fault unless
        all are.
        """
        try:
            document = read_json(payload)
        except UnreadableError as error:
            return Decoded(refused=(packet.refused(error.reason, error.detail),))
        found: list[Reading | Refused] = [
            outcome
            for field in self._fields
            if (outcome := self._field(packet, document, field, probe)) is not None
        ]
        if not found:
            names = ", ".join(field.value.path or "the whole" for field in self._fields)
            found = [packet.refused(Refusal.MISSING_FIELD, f"none of {names}")]
        return Decoded(
            tuple(one for one in found if isinstance(one, Reading)),
            tuple(one for one in found if isinstance(one, Refused)),
        )

    def _field(
        self, packet: Packet, document: object, field: _Field, probe: str
    ) -> Reading | Refused | None:
        try:
            sent = look_up(field.value, document)
        except UnreadableError:
            return None
        stamp, time_fault = stamp_of(packet, _time_reader(field, document))
        quantity = field.settings.quantity

        def make() -> Reading:
            number = number_in_json(sent)
            unit = unit_named(_unit_sent(field, document) or field.settings.unit, quantity)
            whose = _probe(field, document, probe)
            return make_reading(packet, whose, number, unit, stamp)

        return value_or_refusal(packet, time_fault, make)


def _time_reader(field: _Field, document: object) -> Callable[[], float] | None:
    time_at = field.time_at
    if time_at is None:
        return None
    return lambda: read_time(look_up(time_at, document), field.settings.time_format)


def _probe(field: _Field, document: object, probe: str) -> str:
    """The name sent in the message, else `probe`, with the suffix; either may be all there is."""
    name = probe if field.probe_at is None else probe_name(look_up(field.probe_at, document))
    return probe_name(name + field.settings.probe_suffix)


def _unit_sent(field: _Field, document: object) -> str | None:
    """The unit as the message tells it; None where it doesn't."""
    if field.unit_at is None:
        return None
    try:
        unit = look_up(field.unit_at, document)
    except UnreadableError:
        return None
    if not isinstance(unit, str):
        raise UnreadableError(Refusal.UNKNOWN_UNIT, f"{shown(unit)} is no unit")
    return unit


def _pointer(text: str | None) -> JsonPointer | None:
    return None if text is None else JsonPointer(text)
