"""The decoders under fire, and what must hold of whatever they answer."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from monitor.settings.schema_payload import FieldSettings, LineSettings, PayloadSettings
from monitor.sources.lines import LineDecoder
from monitor.sources.payload import payload_decoder
from monitor.sources.source import Packet
from monitor.values import Decoded, Quantity

NOW_S = 1_795_593_600.0
LONGEST_KEPT = 4096

FIELDS = (
    FieldSettings(value="/t", unit_at="/u", time_at="/at", probe_at="/id"),
    FieldSettings(value="/a/0", quantity=Quantity.HUMIDITY, time_at="/at", time_format="iso 8601"),
)
PAYLOADS = {
    "number": PayloadSettings(),
    "json": PayloadSettings(shape="json", fields=FIELDS),
    "senml": PayloadSettings(shape="senml", name_from="last"),
    "senml humidity": PayloadSettings(shape="senml", quantity=Quantity.HUMIDITY),
}
LINES = {
    "line": LineSettings(pattern=r"(?P<probe>\w*)\W(?P<value>.*)"),
    "line nmea": LineSettings(pattern=r"(?P<value>.*)", probe="p", checksum="nmea"),
    "line crc16": LineSettings(pattern=r"(?P<value>.*)", probe="p", checksum="crc16-modbus"),
    "line json": LineSettings(shape="json", fields=FIELDS, probe="p"),
}


def packet(raw: bytes) -> Packet:
    return Packet("fuzz", raw, "fuzz/p1", NOW_S, 100.0)


def _payload(settings: PayloadSettings) -> Callable[[bytes], Decoded]:
    decode = payload_decoder(settings)
    return lambda raw: decode(packet(raw), {"probe": "p1"})


def _line(decoder: LineDecoder, raw: bytes) -> Decoded:
    return decoder.decode(packet(raw))


def decoders() -> dict[str, Callable[[bytes], Decoded]]:
    """Every decoder by name: from bytes to readings and refusals."""
    made = {name: _payload(settings) for name, settings in PAYLOADS.items()}
    return made | {
        name: partial(_line, LineDecoder(settings, 512)) for name, settings in LINES.items()
    }


def sound(decoded: Decoded) -> bool:
    """Something came of it, every reading is finite and named, every refusal has a reason."""
    return (
        bool(decoded.readings or decoded.refused)
        and all(
            math.isfinite(one.value)
            and one.raw is not None
            and math.isfinite(one.raw)
            and bool(one.probe)
            and one.probe.isprintable()
            and (one.measured_s is None or math.isfinite(one.measured_s))
            for one in decoded.readings
        )
        and all(one.detail and len(one.raw) <= LONGEST_KEPT for one in decoded.refused)
    )
