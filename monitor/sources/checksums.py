"""Checksums that sensors and serial lines carry, and the one way a line carries them.

A line ends with `*` and the checksum in hexadecimal digits, taken over every byte before the
`*`; `nmea` is xor8 without the leading `$` or `!`, as in NMEA 0183 sentences. A 16-bit value is
written as the number it is, high digits first.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from operator import xor

from monitor.sources.numbers import UnreadableError, shown
from monitor.values import Refusal


def crc8_maxim(data: bytes) -> int:
    """CRC-8 of 1-Wire devices: reflected polynomial 0x8C, start 0 (Maxim application note 27).

    Check value 0xA1 for b"123456789"; 0 over data followed by its own CRC.
    """
    return _crc_reflected(data, polynomial=0x8C, start=0)


def crc8_sht(data: bytes) -> int:
    """CRC-8 of SHT3x humidity sensors: polynomial 0x31, start 0xFF (Sensirion SHT3x datasheet,
    section 4.12). Check value 0x92 for BE EF."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x31 if crc & 0x80 else crc << 1) & 0xFF
    return crc


def crc16_modbus(data: bytes) -> int:
    """CRC-16 of Modbus RTU: reflected polynomial 0xA001, start 0xFFFF (Modbus over serial line
    V1.02, section 6.2.2). Check value 0x4B37 for b"123456789"; on the wire low byte first."""
    return _crc_reflected(data, polynomial=0xA001, start=0xFFFF)


def xor8(data: bytes) -> int:
    """All bytes exclusive-ored."""
    return reduce(xor, data, 0)


def nmea(data: bytes) -> int:
    """All bytes after the leading `$` or `!` exclusive-ored (NMEA 0183). Check value 0x47 for
    the widely printed sentence $GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,
    (from memory)."""
    return xor8(data[1:] if data[:1] in (b"$", b"!") else data)


def sum8(data: bytes) -> int:
    """All bytes added, modulo 256."""
    return sum(data) & 0xFF


_LINE_CHECKSUMS: dict[str, tuple[Callable[[bytes], int], int]] = {
    "xor8": (xor8, 2),
    "nmea": (nmea, 2),
    "sum8": (sum8, 2),
    "crc8-maxim": (crc8_maxim, 2),
    "crc16-modbus": (crc16_modbus, 4),
}


def without_checksum(line: bytes, kind: str) -> bytes:
    """The line before its `*HH`, once that fits; the whole line where `kind` is "none".

    Raises UnreadableError (bad checksum) where it is missing or wrong.
    """
    if kind == "none":
        return line
    function, digits = _LINE_CHECKSUMS[kind]
    body, star, tail = line.rstrip().rpartition(b"*")
    if not star or len(tail) != digits:
        raise UnreadableError(
            Refusal.BAD_CHECKSUM, f"no *{'H' * digits} at the end of {shown(line)}"
        )
    try:
        stated = int.from_bytes(bytes.fromhex(tail.decode("ascii")), "big")
    except ValueError:
        raise UnreadableError(Refusal.BAD_CHECKSUM, f"{shown(tail)} is not hexadecimal") from None
    found = function(body)
    if stated != found:
        raise UnreadableError(
            Refusal.BAD_CHECKSUM, f"{kind} is {found:0{digits}X}, the line says {shown(tail)}"
        )
    return body


def _crc_reflected(data: bytes, *, polynomial: int, start: int) -> int:
    crc = start
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ polynomial if crc & 1 else crc >> 1
    return crc
