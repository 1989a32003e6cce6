"""Checksums against the values that makers and standards publish."""

from __future__ import annotations

import pytest

from monitor.sources.checksums import (
    crc8_maxim,
    crc8_sht,
    crc16_modbus,
    nmea,
    sum8,
    without_checksum,
    xor8,
)
from monitor.sources.numbers import UnreadableError
from monitor.values import Refusal

CHECK = b"123456789"


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        (CHECK, 0xA1),  # catalogue check value of CRC-8/MAXIM-DOW
        (bytes.fromhex("02 1C B8 01 00 00 00"), 0xA2),  # Maxim application note 27, example ROM
        (bytes(8), 0x00),  # why zeros have to be refused by other means
        (b"\xff" * 8, 0xC9),
    ],
)
def test_crc8_maxim_gives_the_published_value(data: bytes, crc: int) -> None:
    assert crc8_maxim(data) == crc
    assert crc8_maxim(data + bytes([crc])) == 0


@pytest.mark.parametrize(
    ("data", "crc"),
    [
        ("BE EF", 0x92),  # Sensirion SHT3x datasheet, table of CRC properties
        ("00 00", 0x81),
        ("FF FF", 0xAC),
        ("66 66", 0x93),
        (CHECK.hex(), 0xF7),  # catalogue check value of CRC-8/NRSC-5
        ("64 F0", 0xD5),
        ("D9 99", 0x37),
    ],
)
def test_crc8_sht_gives_the_published_value(data: str, crc: int) -> None:
    assert crc8_sht(bytes.fromhex(data)) == crc


@pytest.mark.parametrize(
    ("frame", "low_byte_first"),
    [
        ("11 03 00 6B 00 03", "76 87"),  # the worked request of public Modbus tutorials
        ("11 03 06 AE 41 56 52 43 40", "49 AD"),  # and its reply
        ("01 03 00 00 00 0A", "C5 CD"),
        ("01 03 00 00 00 02", "C4 0B"),
        ("01 04 00 01 00 02", "20 0B"),
        ("01 03 00 6B 00 03", "74 17"),  # a public sheet prints 76 87 here, which is wrong
        (CHECK.hex(), "37 4B"),  # catalogue check value 0x4B37 of CRC-16/MODBUS
    ],
)
def test_crc16_modbus_gives_the_published_value(frame: str, low_byte_first: str) -> None:
    assert crc16_modbus(bytes.fromhex(frame)).to_bytes(2, "little").hex(" ").upper() == (
        low_byte_first
    )


def test_nmea_gives_the_checksum_of_the_widely_printed_sentence() -> None:
    """NMEA 0183 example, from memory."""
    sentence = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
    assert nmea(sentence) == 0x47
    assert xor8(sentence) == 0x47 ^ ord("$")


@pytest.mark.parametrize(
    ("kind", "tail"),
    [
        ("xor8", f"{xor8(CHECK):02X}"),
        ("nmea", f"{nmea(CHECK):02x}"),
        ("sum8", f"{sum(CHECK) % 256:02X}"),
        ("crc8-maxim", "A1"),
        ("crc16-modbus", "4B37"),
    ],
)
def test_a_line_keeps_its_body_when_the_checksum_fits(kind: str, tail: str) -> None:
    assert without_checksum(CHECK + b"*" + tail.encode(), kind) == CHECK


@pytest.mark.parametrize(
    "line",
    [
        b"123456789",
        b"123456789*",
        b"123456789*A2",
        b"123456789*A",
        b"123456789*zz",
        b"12345678*A1",
        b"*",
        b"",
    ],
)
def test_a_line_is_refused_when_the_checksum_is_missing_or_wrong(line: bytes) -> None:
    with pytest.raises(UnreadableError) as caught:
        without_checksum(line, "crc8-maxim")
    assert caught.value.reason is Refusal.BAD_CHECKSUM


def test_sum8_wraps_at_256() -> None:
    assert sum8(b"\xff\x02") == 1
