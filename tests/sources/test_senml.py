"""SenML packs as RFC 8428 resolves them. Examples are shaped after its section 5.1."""

from __future__ import annotations

import json

import pytest

from monitor.sources.numbers import UnreadableError
from monitor.sources.senml import decode_senml, resolve
from monitor.values import Decoded, Flag, Quantity, Refusal
from tests.sources.parts import NOW_S, packet, reasons


def decode(
    pack: object,
    name_from: str = "whole",
    marks: tuple[Flag, ...] = (),
    quantity: Quantity = Quantity.TEMPERATURE,
) -> Decoded:
    return decode_senml(packet(json.dumps(pack), marks=marks), quantity, name_from)


def test_one_measurement_is_read_as_in_section_5_1_1() -> None:
    (reading,) = decode([{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}]).readings
    assert (reading.probe, reading.value) == ("urn:dev:ow:10e2073a01080063", 23.1)
    assert reading.measured_s == NOW_S


def test_base_fields_carry_on_as_in_section_5_1_2() -> None:
    """Base time 1276020076.001 with t -5 is 1276020071.001; the base unit fills the gap."""
    pack = [
        {
            "bn": "urn:dev:ow:10e2073a0108006:",
            "bt": 1276020076.001,
            "bu": "A",
            "n": "voltage",
            "u": "V",
            "v": 120.1,
        },
        {"n": "current", "t": -5, "v": 1.2},
        {"n": "current", "t": -4, "v": 1.3},
    ]
    first, second, third = resolve(pack)
    assert (first.name, first.unit) == ("urn:dev:ow:10e2073a0108006:voltage", "V")
    assert (first.time_s, first.value) == (pytest.approx(1276020076.001), 120.1)
    assert (second.unit, second.time_s) == ("A", pytest.approx(1276020071.001))
    assert (third.unit, third.time_s) == ("A", pytest.approx(1276020072.001))


def test_a_new_base_name_keeps_the_base_time_as_in_section_5_1_6() -> None:
    pack = [
        {"bn": "2001:db8::2/", "bt": 1320078429, "n": "temperature", "u": "Cel", "v": 25.2},
        {"n": "humidity", "u": "%RH", "v": 30},
        {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
        {"n": "humidity", "u": "%RH", "v": 67},
    ]
    found = [(one.name, one.value, one.time_s) for one in resolve(pack)]
    assert found == [
        ("2001:db8::2/temperature", 25.2, 1320078429),
        ("2001:db8::2/humidity", 30, 1320078429),
        ("2001:db8::1/temperature", 12.3, 1320078429),
        ("2001:db8::1/humidity", 67, 1320078429),
    ]
    decoded = decode(pack, "last")
    assert [reading.probe for reading in decoded.readings] == ["temperature", "humidity"] * 2
    # 2011 is before any reading of ours can be: kept, but not believed
    assert {reading.marks for reading in decoded.readings} == {(Flag.TIME_UNKNOWN,)}


def test_a_time_below_two_to_the_28_is_relative_to_now() -> None:
    pack = [{"bn": "a/", "bu": "Cel", "n": "x", "v": 21, "t": -30}, {"n": "x", "v": 22}]
    assert [reading.measured_s for reading in decode(pack).readings] == [NOW_S - 30, NOW_S]
    absolute = [{"n": "x", "u": "Cel", "v": 21, "t": NOW_S - 3600}]
    assert decode(absolute).readings[0].measured_s == NOW_S - 3600


def test_a_relative_time_means_nothing_when_the_message_waited() -> None:
    pack = [{"n": "x", "u": "Cel", "v": 21, "t": -30}]
    for mark in (Flag.TIME_UNKNOWN, Flag.RETAINED):
        (reading,) = decode(pack, marks=(mark,)).readings
        assert reading.measured_s is None
        assert Flag.TIME_UNKNOWN in reading.marks
    absolute = [{"n": "x", "u": "Cel", "v": 21, "t": NOW_S - 3600}]
    assert decode(absolute, marks=(Flag.TIME_UNKNOWN,)).readings[0].marks == ()


def test_base_value_and_kelvin_add_up() -> None:
    (reading,) = decode([{"n": "x", "u": "K", "bv": 290, "v": 4.15}]).readings
    assert reading.value == pytest.approx(21.0)


def test_a_ratio_is_humidity_only_where_the_settings_say_so() -> None:
    """RFC 8428 also gives "/" to every other ratio; its old alias % means 0 to 1."""
    pack = [{"n": "x", "u": "%", "v": 0.93}, {"n": "y", "u": "/", "v": 0.9}]
    decoded = decode(pack, quantity=Quantity.HUMIDITY)
    assert [reading.value for reading in decoded.readings] == [93.0, 90.0]
    assert reasons(decode(pack)) == [Refusal.MISSING_FIELD]


def test_other_quantities_and_kinds_of_value_are_passed_over() -> None:
    pack = [
        {"n": "lamp", "vb": True},
        {"n": "label", "vs": "shelf 2"},
        {"n": "heat", "u": "W", "v": 3},
        {"n": "energy", "u": "J", "s": 3},
        {"n": "air", "u": "Cel", "v": 21},
    ]
    decoded = decode(pack)
    assert [reading.probe for reading in decoded.readings] == ["air"]
    assert decoded.refused == ()


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        ({"v": True}, Refusal.BOOLEAN),
        ({"vb": True}, Refusal.BOOLEAN),
        ({"v": None}, Refusal.NULL),
        ({"v": "21"}, Refusal.NOT_A_NUMBER),
        ({"vs": "21"}, Refusal.NOT_A_NUMBER),
        ({"v": float("nan")}, Refusal.NOT_FINITE),
        ({"v": float("inf"), "bv": 1}, Refusal.NOT_FINITE),
        ({"v": 1e308, "bv": 1e308}, Refusal.NOT_FINITE),
    ],
)
def test_a_value_is_refused_alone_when_it_is_no_number(
    value: dict[str, object], reason: Refusal
) -> None:
    decoded = decode(
        [{"n": "bad", "u": "Cel", **value}, {"n": "good", "u": "Cel", "bv": 0, "v": 21}]
    )
    assert reasons(decoded) == [reason]
    assert [reading.value for reading in decoded.readings] == [21.0]


@pytest.mark.parametrize(
    "pack",
    [
        {"n": "x", "v": 1},
        [],
        [[]],
        [1],
        [{"v": 1}],
        [{"n": "-x", "v": 1}],
        [{"n": "x y", "v": 1}],
        [{"n": 3, "v": 1}],
        [{"n": "x", "v": 1, "vs": "a"}],
        [{"n": "x", "v": 1, "t": "now"}],
        [{"n": "x", "v": 1, "bt": True}],
        [{"n": "x", "v": 1, "bver": 11}],
        [{"n": "x", "v": 1, "new_": 1}],  # section 4.4: must be understood, and is not
    ],
)
def test_a_pack_is_refused_whole_when_the_standard_says_so(pack: object) -> None:
    with pytest.raises(UnreadableError) as caught:
        list(resolve(pack))
    assert caught.value.reason is Refusal.NOT_SENML
    assert decode(pack).readings == ()


def test_a_pack_may_name_version_ten_and_unknown_optional_fields() -> None:
    assert decode([{"bver": 10, "n": "x", "u": "Cel", "v": 21, "ut": 60, "hue": 3}]).readings
