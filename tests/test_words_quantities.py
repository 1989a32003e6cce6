"""Numbers and moments as a person reads them."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.words.quantities import (
    difference,
    duration,
    in_units,
    moment,
    number,
    odds,
    temperature,
    temperatures,
    unbroken,
)

VIENNA = ZoneInfo("Europe/Vienna")
NOW_S = datetime(2026, 3, 3, 20, 40, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("value_c", "fahrenheit"), [(-40.0, "-40.0 °F"), (0.0, "32.0 °F"), (37.0, "98.6 °F"),
                                (100.0, "212.0 °F"), (24.0, "75.2 °F")],
)  # fmt: skip
def test_temperature_agrees_with_the_fixed_points_of_the_scales(
    value_c: float, fahrenheit: str
) -> None:
    """Fixed points by definition of the scales: t/°F = 1.8 t/°C + 32 (NIST SP 811, B.8)."""
    assert temperature(value_c, "F") == fahrenheit
    assert temperature(value_c, "C") == f"{value_c:.1f} °C"


def test_difference_scales_and_is_never_minus_zero() -> None:
    assert difference(1.0, "F") == "1.8 °F"
    assert difference(1.0, "C") == "1.0 °C"
    assert difference(-0.04, "C") == "0.0 °C"
    assert temperatures(15.0, 27.0, "F") == "59.0 to 80.6 °F"


def test_a_phrase_is_put_in_units_temperatures_and_differences_apart() -> None:
    phrase = "went from -3.0 °C to 21.3 °C, +3.2 K at 0.8 K/h, in 12 KB"
    assert in_units(phrase, "F") == "went from 26.6 °F to 70.3 °F, +5.8 °F at 1.4 °F/h, in 12 KB"
    assert in_units(phrase, "C") == "went from -3.0 °C to 21.3 °C, +3.2 °C at 0.8 °C/h, in 12 KB"


@pytest.mark.parametrize(
    ("length_s", "words"), [(0.0, "0 s"), (-5.0, "0 s"), (59.6, "60 s"), (600.0, "10 min"),
                            (5400.0, "90 min"), (7200.0, "2 h"), (12000.0, "3 h 20 min"),
                            (36300.0, "10 h"), (144000.0, "40 h"), (172800.0, "2 days"),
                            (187200.0, "2 days 4 h"), (345600.0, "4 days")],
)  # fmt: skip
def test_duration_says_the_one_or_two_units_that_matter(length_s: float, words: str) -> None:
    assert duration(length_s) == words


def at(*when: int) -> float:
    return datetime(*when, tzinfo=UTC).timestamp()  # type: ignore[arg-type,misc]


@pytest.mark.parametrize(
    ("at_s", "words"), [(NOW_S, "Tue 21:40"), (at(2026, 3, 2, 23, 5), "Tue 00:05"),
                        (at(2026, 2, 24, 8, 0), "24 Feb 09:00"),
                        (at(2025, 12, 31, 23, 30), "1 Jan 00:30"),
                        (at(2025, 7, 1, 10, 0), "1 Jul 2025 12:00"),
                        (at(2026, 3, 4, 3, 0), "Wed 04:00")],
)  # fmt: skip
def test_moment_is_told_as_on_the_wall_of_the_zone(at_s: float, words: str) -> None:
    assert moment(at_s, VIENNA, NOW_S) == words


@pytest.mark.parametrize(
    ("ratio", "words"), [(0.5, "as yet more likely chance than that x"),
                         (1.0, "an even call, or little better, that x"),
                         (4.0, "odds about 4 to 1 that x"), (229.0, "odds about 200 to 1 that x"),
                         (999.0, "odds about 900 to 1 that x"),
                         (1e9, "as good as certain that x (odds over 1,000 to 1)")],
)  # fmt: skip
def test_odds_are_words_for_natural_log_odds(ratio: float, words: str) -> None:
    assert odds(math.log(ratio), "x") == words


@given(st.floats(math.log(3.0), math.log(1000.0)))
def test_odds_never_claim_more_than_was_found(evidence: float) -> None:
    told = int(odds(evidence, "x").split()[2])
    assert told <= math.exp(evidence) * (1.0 + 1e-6) < 2.0 * told + 1e-3


def test_no_line_breaks_between_a_number_and_its_unit() -> None:
    """A terminal of 60 columns and a phone of 360 pixels break where they like."""
    text = "has stood 34 h, +0.8 °C in 2 days 3 h, 95 % of 12 bags; 2 hours, 3 hot, 4 d"
    assert unbroken(text) == (
        "has stood 34\u00a0h, +0.8\u00a0°C in 2\u00a0days 3\u00a0h, 95\u00a0% of 12 bags;"
        " 2 hours, 3 hot, 4\u00a0d"
    )


def test_the_number_alone_of_what_is_said_with_its_unit() -> None:
    assert number(temperature(21.3, "C")) == "21.3"
    assert number(difference(-1.0, "F")) == "-1.8"
