"""Payloads to readings or named refusals: numbers and JSON fields, times, marks, bad input."""

from __future__ import annotations

import json

import pytest
from jsonpointer import JsonPointer

from monitor.settings.schema_payload import FieldSettings, PayloadSettings
from monitor.sources.jsontext import look_up, read_json
from monitor.sources.numbers import UnreadableError
from monitor.sources.payload import payload_decoder
from monitor.values import Decoded, Flag, Quantity, Refusal
from tests.sources.parts import NOW_S, packet, reasons

ONE = {"probe": "p1"}


def number(payload: bytes | str, **settings: object) -> Decoded:
    return payload_decoder(PayloadSettings(**settings))(packet(payload), ONE)


def fields(payload: object, *settings: dict[str, object], marks: tuple[Flag, ...] = ()) -> Decoded:
    text = payload if isinstance(payload, str | bytes) else json.dumps(payload)
    shape = PayloadSettings(shape="json", fields=tuple(FieldSettings(**one) for one in settings))
    return payload_decoder(shape)(packet(text, marks=marks), ONE)


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        ("21.5", 21.5),
        (" 21.5\r\n", 21.5),
        ("-3", -3.0),
        (".5", 0.5),
        ("2.15e1", 21.5),
        ("+21", 21),
        (b"\xef\xbb\xbf21.5", 21.5),
    ],
)
def test_a_bare_number_is_read(payload: bytes | str, value: float) -> None:
    (reading,) = number(payload).readings
    assert (reading.probe, reading.value, reading.raw, reading.raw_unit) == (
        "p1",
        value,
        value,
        "Cel",
    )
    assert (reading.measured_s, reading.received_s, reading.marks) == (NOW_S, NOW_S, ())


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ("21,5", Refusal.NOT_A_NUMBER),
        ("21.5 C", Refusal.NOT_A_NUMBER),
        ("unavailable", Refusal.NOT_A_NUMBER),
        ("1_000", Refusal.NOT_A_NUMBER),
        ("0x15", Refusal.NOT_A_NUMBER),
        ("\u0662\u0661", Refusal.NOT_A_NUMBER),  # digits of another script, which float() takes
        ('{"t": 21.5}', Refusal.NOT_A_NUMBER),
        ("nan", Refusal.NOT_FINITE),
        ("-Infinity", Refusal.NOT_FINITE),
        ("1e999", Refusal.NOT_FINITE),
        ("true", Refusal.BOOLEAN),
        ("OFF", Refusal.BOOLEAN),
        ("null", Refusal.NULL),
        ("", Refusal.EMPTY),
        ("  \n", Refusal.EMPTY),
        (b"\xff\xfe2\x001\x00", Refusal.NOT_TEXT),
        (b"1" * 4097, Refusal.TOO_LONG),
    ],
)
def test_a_bare_number_is_refused_by_name(payload: bytes | str, reason: Refusal) -> None:
    decoded = number(payload)
    assert decoded.readings == ()
    assert reasons(decoded) == [reason]
    assert len(decoded.refused[0].raw) <= 4096


def test_a_number_takes_unit_and_quantity_from_settings_and_topic() -> None:
    assert number("75.2", unit="degF").readings[0].value == pytest.approx(24.0)
    decoder = payload_decoder(PayloadSettings(unit="degF"))
    (reading,) = decoder(packet("93"), {"probe": "p1", "quantity": "humidity"}).readings
    assert (reading.quantity, reading.value, reading.raw_unit) == (Quantity.HUMIDITY, 93.0, "%RH")
    assert reasons(decoder(packet("3.1"), {"probe": "p1", "quantity": "battery"})) == [
        Refusal.UNMAPPED_TOPIC
    ]


def test_a_name_is_refused_when_it_could_not_be_stored_or_shown() -> None:
    decoder = payload_decoder(PayloadSettings())
    assert reasons(decoder(packet("21"), {"probe": "p\x1b[2J"})) == [Refusal.NOT_TEXT]
    sent = '{"t": 21, "id": "\\ud800"}'
    assert reasons(fields(sent, {"value": "/t", "probe_at": "/id"})) == [Refusal.NOT_TEXT]


def test_json_gives_several_quantities_of_one_message() -> None:
    payload = {"Time": "2026-11-25T08:59:30+01:00", "AM": {"T": 71.6, "H": 92}, "unit": "F"}
    when = {"time_at": "/Time", "time_format": "iso 8601"}
    decoded = fields(
        payload,
        {"value": "/AM/T", "unit_at": "/unit", **when},
        {"value": "/AM/H", "quantity": "humidity", "probe_suffix": "-rh", **when},
    )
    assert decoded.refused == ()
    warm, damp = decoded.readings
    assert (warm.probe, warm.value, warm.raw, warm.raw_unit) == (
        "p1",
        pytest.approx(22.0),
        71.6,
        "degF",
    )
    assert (damp.probe, damp.quantity, damp.value) == ("p1-rh", Quantity.HUMIDITY, 92.0)
    assert warm.measured_s == damp.measured_s == NOW_S - 30


def test_json_fields_may_come_and_go_but_not_all() -> None:
    two = ({"value": "/t"}, {"value": "/h", "quantity": "humidity"})
    decoded = fields({"t": 21, "battery": 91}, *two)
    assert (len(decoded.readings), decoded.refused) == (1, ())
    assert reasons(fields({"battery": 91}, *two)) == [Refusal.MISSING_FIELD]


def test_json_dead_element_does_not_cost_the_value_beside_it() -> None:
    two = ({"value": "/t"}, {"value": "/h", "quantity": "humidity"})
    decoded = fields('{"t": 21.5, "h": NaN}', *two)
    assert [reading.value for reading in decoded.readings] == [21.5]
    assert reasons(decoded) == [Refusal.NOT_FINITE]


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ('{"t": true}', Refusal.BOOLEAN),
        ('{"t": null}', Refusal.NULL),
        ('{"t": "warm"}', Refusal.NOT_A_NUMBER),
        ('{"t": [21]}', Refusal.NOT_A_NUMBER),
        ('{"t": {}}', Refusal.NOT_A_NUMBER),
        ('{"t": 1e999}', Refusal.NOT_FINITE),
        ('{"t": -Infinity}', Refusal.NOT_FINITE),
        ('{"t": 1' + "0" * 400 + "}", Refusal.NOT_FINITE),
        ('{"t": 21, "t": 22}', Refusal.DUPLICATE_KEY),
        ('{"t": 21,', Refusal.NOT_JSON),
        ("21.5 C", Refusal.NOT_JSON),
        ("[" * 17 + "]" * 17, Refusal.TOO_DEEP),
        ("[" * 4000, Refusal.TOO_DEEP),
        ('{"a":' * 500, Refusal.TOO_DEEP),
        ('{"t": 21, "pad": "' + "x" * 4096 + '"}', Refusal.TOO_LONG),
        ("21", Refusal.MISSING_FIELD),
        ("{}", Refusal.MISSING_FIELD),
        (b'{"t": "\xff"}', Refusal.NOT_TEXT),
        ("", Refusal.EMPTY),
    ],
)
def test_json_is_refused_by_name(payload: bytes | str, reason: Refusal) -> None:
    decoded = fields(payload, {"value": "/t"})
    assert decoded.readings == ()
    assert reasons(decoded) == [reason]


def test_json_takes_bytes_order_mark_brackets_in_strings_and_numbers_sent_as_text() -> None:
    sent = b'\xef\xbb\xbf{"note": "' + b"[" * 40 + b'\\"{", "t": "21.5"}'
    assert fields(sent, {"value": "/t"}).readings[0].value == 21.5


def test_json_unit_sent_must_be_one_of_the_quantity() -> None:
    for unit in ("%", "furlong", 7):
        decoded = fields({"t": 21, "u": unit}, {"value": "/t", "unit_at": "/u"})
        assert reasons(decoded) == [Refusal.UNKNOWN_UNIT]
    (reading,) = fields({"t": 70}, {"value": "/t", "unit_at": "/u", "unit": "degF"}).readings
    assert reading.raw_unit == "degF"


def test_json_names_the_probe_from_the_message() -> None:
    field = {"value": "/t", "probe_at": "/id", "probe_suffix": "-t"}
    assert fields({"t": 21, "id": 7}, field).readings[0].probe == "7-t"
    assert fields({"t": 21, "id": 0}, field).readings[0].probe == "0-t"
    assert reasons(fields({"t": 21}, field)) == [Refusal.MISSING_FIELD]


@pytest.mark.parametrize(
    ("time", "time_format", "measured_s", "marks"),
    [
        (NOW_S - 60, "epoch s", NOW_S - 60, ()),
        ((NOW_S - 60) * 1000, "epoch ms", NOW_S - 60, ()),
        (str(NOW_S - 60), "epoch s", NOW_S - 60, ()),
        ("2026-11-25T07:59:00Z", "iso 8601", NOW_S - 60, ()),
        (NOW_S + 299, "epoch s", NOW_S + 299, ()),  # within what clocks differ
        (NOW_S + 301, "epoch s", None, (Flag.FUTURE,)),
        (1e300, "epoch s", None, (Flag.FUTURE,)),
        (35.2, "epoch s", None, (Flag.TIME_UNKNOWN,)),  # booted in 1970
        (-1e300, "epoch s", None, (Flag.TIME_UNKNOWN,)),
        ("1970-01-01T00:00:35Z", "iso 8601", None, (Flag.TIME_UNKNOWN,)),
        ("2026-11-25T07:59:00", "iso 8601", None, (Flag.TIME_UNKNOWN,)),  # local, of where?
        ("0001-01-01T00:00:00+14:00", "iso 8601", None, (Flag.TIME_UNKNOWN,)),
        ("yesterday", "iso 8601", None, (Flag.TIME_UNKNOWN,)),
        (None, "epoch s", None, (Flag.TIME_UNKNOWN,)),
        (True, "epoch s", None, (Flag.TIME_UNKNOWN,)),
        ([], "iso 8601", None, (Flag.TIME_UNKNOWN,)),
    ],
)
def test_a_stated_time_is_trusted_or_marked(
    time: object, time_format: str, measured_s: float | None, marks: tuple[Flag, ...]
) -> None:
    field = {"value": "/t", "time_at": "/at", "time_format": time_format}
    (reading,) = fields({"t": 21, "at": time}, field).readings
    assert (reading.measured_s, reading.marks) == (measured_s, marks)


def test_a_bad_time_is_the_reason_when_the_value_is_no_good_either() -> None:
    field = {"value": "/t", "time_at": "/at"}
    assert reasons(fields({"t": "warm", "at": "soon"}, field)) == [Refusal.BAD_TIME]
    assert reasons(fields({"t": "warm", "at": NOW_S}, field)) == [Refusal.NOT_A_NUMBER]


def test_a_late_or_retained_message_has_no_time_unless_it_tells_one() -> None:
    field = {"value": "/t", "time_at": "/at"}
    for mark in (Flag.RETAINED, Flag.TIME_UNKNOWN):
        (reading,) = fields({"t": 21}, field, marks=(mark,)).readings
        assert (reading.measured_s, reading.marks) == (None, (mark,))
        (reading,) = fields({"t": 21, "at": NOW_S - 7200}, field, marks=(mark,)).readings
        assert (reading.measured_s, reading.marks) == (NOW_S - 7200, ())


def test_nothing_is_called_future_before_our_own_clock_is_set() -> None:
    field = {"value": "/t", "time_at": "/at"}
    sent = {"t": 21, "at": NOW_S + 86400}
    (reading,) = fields(sent, field, marks=(Flag.CLOCK_UNSET,)).readings
    assert (reading.measured_s, reading.marks) == (NOW_S + 86400, (Flag.CLOCK_UNSET,))


#: The table of RFC 6901, section 5.
RFC_6901 = r"""{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4,
 "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}"""


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_json_pointers_follow_the_table_of_rfc_6901(pointer: str, value: object) -> None:
    document = read_json(RFC_6901.encode())
    assert look_up(JsonPointer(pointer), document) == value
    assert look_up(JsonPointer(""), document) == document


@pytest.mark.parametrize(
    "pointer", ["/foo/01", "/foo/-", "/foo/2", "/foo/-1", "/foo/0/0", "/nope", "/a/b"]
)
def test_json_pointers_to_nothing_are_a_missing_field(pointer: str) -> None:
    with pytest.raises(UnreadableError) as caught:
        look_up(JsonPointer(pointer), read_json(RFC_6901.encode()))
    assert caught.value.reason is Refusal.MISSING_FIELD
