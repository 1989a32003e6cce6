"""Serial bytes to lines, lines to readings."""

from __future__ import annotations

import pytest

from monitor.settings.schema_payload import FieldSettings, LineSettings
from monitor.sources.checksums import crc16_modbus
from monitor.sources.lines import LineAssembler, LineDecoder
from monitor.values import Decoded, Flag, Quantity, Refusal
from tests.sources.parts import NOW_S, packet, reasons

PATTERN = (
    r"(?P<probe>\w+) (?P<value>\S+)(?: (?P<unit>[CF%]))?(?: (?P<quantity>\w+))?(?: @(?P<time>\S+))?"
)


def decode(line: bytes | str, **settings: object) -> Decoded:
    settings.setdefault("pattern", PATTERN)
    return LineDecoder(LineSettings(**settings), 512).decode(packet(line))


def test_the_first_fragment_is_dropped_after_each_opening() -> None:
    assembler = LineAssembler(64)
    assert assembler.feed(b"3.4\np1 21.5\np2 2") == [b"p1 21.5"]
    assembler.reset()
    assert assembler.feed(b"1.0\np3 22.0\n") == [b"p3 22.0"]


def test_half_lines_wait_for_the_rest_and_blank_ones_are_left_out() -> None:
    assembler = LineAssembler(64)
    found = [
        line for byte in b"x\np1 21.5\r\n\r\n \np2 22\n" for line in assembler.feed(bytes([byte]))
    ]
    assert found == [b"p1 21.5", b"p2 22"]


def test_a_line_without_end_is_cut_and_dropped_up_to_its_newline() -> None:
    assembler = LineAssembler(16)
    assembler.feed(b"\n")
    for _ in range(1000):
        assert assembler.feed(b"noise without end ") == []
    (beginning,) = assembler.take_overlong()
    assert len(beginning) == 17
    assert assembler.feed(b"tail\np1 21.5\n") == [b"p1 21.5"]
    assert assembler.take_overlong() == []


def test_a_line_of_just_the_longest_length_passes() -> None:
    assembler = LineAssembler(16)
    assert assembler.feed(b"\n" + b"a" * 16 + b"\r\n" + b"b" * 17 + b"\n") == [b"a" * 16, b"b" * 17]
    decoder = LineDecoder(LineSettings(pattern=PATTERN), 16)
    assert reasons(decoder.decode(packet(b"b" * 17))) == [Refusal.TOO_LONG]


def test_a_line_is_read_by_its_named_groups() -> None:
    (reading,) = decode("p1 75.2 F").readings
    assert (reading.probe, reading.value, reading.raw_unit) == ("p1", pytest.approx(24.0), "degF")
    (reading,) = decode("p1 93 % rh @1795593500").readings
    assert (reading.quantity, reading.measured_s) == (Quantity.HUMIDITY, NOW_S - 100)
    (reading,) = decode("p1 21 C temp @soon").readings
    assert (reading.measured_s, reading.marks) == (None, (Flag.TIME_UNKNOWN,))
    (reading,) = decode("21.5", pattern=r"(?P<value>.+)", probe="air", unit="K").readings
    assert (reading.probe, reading.value) == ("air", pytest.approx(21.5 - 273.15))


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("p1 21.5 C temp and more", Refusal.NO_MATCH),
        ("21.5", Refusal.NO_MATCH),
        (b"p1 \x80\xfe21.5", Refusal.NOT_A_NUMBER),
        ("p1 21,5", Refusal.NOT_A_NUMBER),
        ("p1 nan", Refusal.NOT_FINITE),
        ("p1 true", Refusal.BOOLEAN),
        ("p1 21 % temp", Refusal.UNKNOWN_UNIT),
        ("p1 21 C battery", Refusal.NO_MATCH),
        ("p1 warm C temp @soon", Refusal.BAD_TIME),
        ("", Refusal.EMPTY),
        (b"\x00\xff" * 20, Refusal.NO_MATCH),
        ("p1 21" + " " * 600, Refusal.TOO_LONG),
    ],
)
def test_a_line_is_refused_by_name(line: bytes | str, reason: Refusal) -> None:
    decoded = decode(line)
    assert decoded.readings == ()
    assert reasons(decoded) == [reason]


def test_a_line_with_a_checksum_is_believed_only_when_it_fits() -> None:
    body = b"p1 21.5 C"
    good = body + b"*%04X" % crc16_modbus(body)
    assert decode(good, checksum="crc16-modbus").readings[0].value == 21.5
    assert reasons(decode(good.replace(b"21", b"27"), checksum="crc16-modbus")) == [
        Refusal.BAD_CHECKSUM
    ]
    assert reasons(decode(body, checksum="crc16-modbus")) == [Refusal.BAD_CHECKSUM]


def test_a_json_line_is_read_as_a_json_message_is() -> None:
    fields = (
        FieldSettings(value="/t", probe_at="/id"),
        FieldSettings(value="/h", quantity=Quantity.HUMIDITY, probe_at="/id"),
    )
    decoded = decode('{"id": "p1", "t": 21.5, "h": 93}', shape="json", pattern="", fields=fields)
    assert [(one.probe, one.value) for one in decoded.readings] == [("p1", 21.5), ("p1", 93.0)]
    assert reasons(decode('{"id": "p1", "t"', shape="json", pattern="", fields=fields)) == [
        Refusal.NOT_JSON
    ]
