"""MQTT messages to readings: a bare number, JSON fields or a SenML pack. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from monitor.settings.schema_payload import PayloadSettings
from monitor.sources.fields import FieldReader, make_reading
from monitor.sources.numbers import UnreadableError, number_in_text, probe_name, text_of
from monitor.sources.senml import decode_senml
from monitor.sources.source import Packet
from monitor.sources.times import unstated
from monitor.sources.units import quantity_named, unit_named
from monitor.values import Decoded, Refusal

#: A packet and what its topic captured, to readings.
PayloadDecoder = Callable[[Packet, Mapping[str, str]], Decoded]


def payload_decoder(settings: PayloadSettings) -> PayloadDecoder:
    """The decoder for one subscription; it never raises, whatever the bytes."""
    if settings.shape == "json":
        reader = FieldReader(settings.fields)
        return lambda packet, captured: reader.decode(
            packet, packet.payload, captured.get("probe", "")
        )
    if settings.shape == "senml":
        return lambda packet, _: decode_senml(packet, settings.quantity, settings.name_from)
    return lambda packet, captured: _decode_number(packet, captured, settings)


def _decode_number(
    packet: Packet, captured: Mapping[str, str], settings: PayloadSettings
) -> Decoded:
    quantity = settings.quantity
    if "quantity" in captured:
        named = quantity_named(captured["quantity"])
        if named is None:  # `battery` beside `temperature` is no fault, but it is told
            text = f"quantity {captured['quantity']!r} is not watched"
            return Decoded(refused=(packet.refused(Refusal.UNMAPPED_TOPIC, text),))
        quantity = named
    try:
        number = number_in_text(text_of(packet.payload))
        unit = unit_named(settings.unit if quantity is settings.quantity else None, quantity)
        probe = probe_name(captured.get("probe", ""))
        reading = make_reading(packet, probe, number, unit, unstated(packet))
    except UnreadableError as error:
        return Decoded(refused=(packet.refused(error.reason, error.detail),))
    return Decoded((reading,))
