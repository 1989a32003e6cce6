"""Anything at all through the decoders: a reading that is sound, or a refusal with its reason."""

from __future__ import annotations

import json
import math

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.settings.schema_payload import FieldSettings, LineSettings, PayloadSettings
from monitor.sources.lines import LineAssembler, LineDecoder
from monitor.sources.numbers import UnreadableError
from monitor.sources.payload import payload_decoder
from monitor.sources.scratchpad import read_w1_slave
from monitor.values import Decoded, Flag, Quantity
from tests.sources.parts import NOW_S, packet

MANY = settings(
    max_examples=300, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
FIELDS = (
    FieldSettings(value="/t", unit_at="/u", time_at="/at", probe_at="/id"),
    FieldSettings(value="/a/0", quantity=Quantity.HUMIDITY, time_at="/at", time_format="iso 8601"),
)
DECODERS = (
    payload_decoder(PayloadSettings()),
    payload_decoder(PayloadSettings(shape="json", fields=FIELDS)),
    payload_decoder(PayloadSettings(shape="senml", name_from="last")),
    payload_decoder(PayloadSettings(shape="senml", quantity=Quantity.HUMIDITY)),
)
LINES = (
    LineDecoder(LineSettings(pattern=r"(?P<probe>\w*)\W(?P<value>.*)", checksum="none"), 512),
    LineDecoder(LineSettings(pattern=r"(?P<value>.*)", probe="p", checksum="nmea"), 512),
    LineDecoder(LineSettings(shape="json", fields=FIELDS, probe="p"), 512),
)
SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.floats(),
    st.integers(),
    st.integers(-(10**400), 10**400),
    st.text(max_size=20),
    st.sampled_from(
        ["Cel", "K", "/", "%RH", "21.5", "nan", "2026-11-25T08:00:00Z", "p1", "\ud800"]
    ),
)
KEYS = st.sampled_from(
    ["t", "u", "at", "id", "a", "n", "v", "bn", "bt", "bu", "bv", "bver", "vs", "vb", "s", "x_"]
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=6),
    max_leaves=12,
)
RECORDS = st.lists(st.dictionaries(KEYS, SCALARS, max_size=7), max_size=4)
MARKS = st.sampled_from([(), (Flag.RETAINED,), (Flag.TIME_UNKNOWN,), (Flag.CLOCK_UNSET,)])


def check(decoded: Decoded) -> None:
    assert decoded.readings or decoded.refused
    for reading in decoded.readings:
        assert math.isfinite(reading.value)
        assert reading.raw is not None
        assert math.isfinite(reading.raw)
        assert reading.probe.isprintable()
        assert 0 < len(reading.probe.encode()) <= 4 * 120
        assert reading.measured_s is None or math.isfinite(reading.measured_s)
        if reading.measured_s is None:
            assert reading.marks
    for refused in decoded.refused:
        assert refused.detail
        assert len(refused.raw) <= 4096


def check_all(payload: bytes, marks: tuple[Flag, ...]) -> None:
    for decoder in DECODERS:
        check(decoder(packet(payload, marks=marks), {"probe": "p1"}))
    for line in LINES:
        check(line.decode(packet(payload, marks=marks)))


@MANY
@given(st.one_of(st.binary(max_size=200), st.text(max_size=60).map(str.encode)), MARKS)
def test_any_bytes_are_read_or_refused(payload: bytes, marks: tuple[Flag, ...]) -> None:
    check_all(payload, marks)


@MANY
@given(VALUES | RECORDS, MARKS)
def test_any_json_is_read_or_refused(value: object, marks: tuple[Flag, ...]) -> None:
    check_all(json.dumps(value).encode(), marks)


@MANY
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_finite_number_is_read_exactly(number: float) -> None:
    (reading,) = DECODERS[0](packet(repr(number)), {"probe": "p1"}).readings
    assert reading.raw == number
    assert reading.measured_s == NOW_S


@MANY
@given(st.lists(st.binary(max_size=40), max_size=20))
def test_any_cutting_of_a_stream_gives_the_same_lines(pieces: list[bytes]) -> None:
    stream = b"".join(pieces)
    whole, cut = LineAssembler(32), LineAssembler(32)
    expected = whole.feed(stream)
    assert [line for piece in pieces for line in cut.feed(piece)] == expected
    assert cut.take_overlong() == whole.take_overlong()
    assert all(0 < len(line) <= 33 and b"\n" not in line for line in expected)


@MANY
@given(
    st.one_of(
        st.binary(max_size=80),
        st.binary(min_size=9, max_size=9).map(
            lambda raw: f"{raw.hex(' ')} : crc={raw[8]:02x} YES\n".encode()
        ),
    ),
    st.sampled_from(["10", "28"]),
)
def test_any_scratchpad_is_read_or_refused(text: bytes, family: str) -> None:
    try:
        value_c = read_w1_slave(text, family)
    except UnreadableError:
        return
    assert abs(value_c) <= 16_384 + 256  # 16 bit in half degrees, and the counts beside
