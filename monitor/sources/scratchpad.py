"""The text that Linux shows of a 1-Wire thermometer, to degrees Celsius. Pure.

Two lines of nine scratchpad bytes, the first ending `: crc=1c YES` or `NO`, the second with
`t=` in thousandths of a degree (kernel documentation, w1_therm). After a failed checksum the
second line still shows the value before, so only the first is believed; and because a bus held
low reads as zeros, whose checksum fits, the bytes themselves are looked at.
"""

from __future__ import annotations

import re

from monitor.sources.checksums import crc8_maxim
from monitor.sources.numbers import UnreadableError, shown
from monitor.values import Refusal

#: Families whose scratchpad is read here: DS18S20, DS1822, DS18B20, DS28EA00.
FAMILIES = ("10", "22", "28", "42")

_FIRST_LINE = re.compile(rb"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)")
_POWER_ON_C = 85.0
_FAILED_C = 127.9375


def read_w1_slave(text: bytes, family: str) -> float:
    """The temperature in °C.

    Raises UnreadableError: empty, line does not match, no device (all zeros, all ones), bad
    checksum, power-on value. 85 °C is always refused: no bag gets there, a probe with bad
    power does; so is 127.94 °C, a conversion that failed.
    Source: DS18B20 datasheet (Maxim, 2019), memory map and figure 4; DS18S20 datasheet for
    family 10, whose count registers give the finer value. Check: 91 01 4b 46 7f ff 0f 10 25
    is 25.0625 °C.
    """
    if not text.strip():
        raise UnreadableError(Refusal.EMPTY, "the sensor did not answer")
    found = _FIRST_LINE.match(text)
    if found is None:
        raise UnreadableError(Refusal.NO_MATCH, shown(text))
    bytes_read = bytes.fromhex(found[1].decode("ascii"))
    if bytes_read in (bytes(9), b"\xff" * 9):
        raise UnreadableError(Refusal.NO_DEVICE, f"the bus reads {bytes_read[0]:02x} throughout")
    if found[2] != b"YES" or crc8_maxim(bytes_read) != 0:
        raise UnreadableError(Refusal.BAD_CHECKSUM, bytes_read.hex(" "))
    raw = int.from_bytes(bytes_read[:2], "little", signed=True)
    value_c = _fine_half_degrees_c(raw, bytes_read) if family == "10" else _c(raw, bytes_read[4])
    if _POWER_ON_C in (value_c, raw / 2 if family == "10" else value_c):
        raise UnreadableError(Refusal.POWER_ON, "85 °C, which a probe shows before it has measured")
    if value_c == _FAILED_C:
        raise UnreadableError(
            Refusal.POWER_ON, "127.94 °C, which a probe shows when measuring failed"
        )
    return value_c


def _c(raw: int, configuration: int) -> float:
    """Sixteenths of a degree; below 12 bit the lowest bits mean nothing."""
    unused_bits = 3 - (configuration >> 5 & 0b11)
    return (raw >> unused_bits << unused_bits) / 16.0


def _fine_half_degrees_c(raw: int, scratchpad: bytes) -> float:
    """DS18S20: half degrees, made finer by the counts remaining and per degree."""
    remain, per_c = scratchpad[6], scratchpad[7]
    if not per_c:
        return raw / 2.0
    return (raw >> 1) - 0.25 + (per_c - remain) / per_c
