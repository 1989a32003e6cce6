"""The hours of a night on the wall, through both changes of the clocks."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from monitor.review.nights import (
    Window,
    clock_change_s,
    last_night,
    night_of,
    same_window_before,
)

LONDON = ZoneInfo("Europe/London")
EVENING, MORNING = 20 * 60, 8 * 60


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("evening", "hours", "change_s"),
    [(date(2026, 3, 4), 12, 0), (date(2026, 3, 28), 11, 3600), (date(2026, 10, 24), 13, -3600)],
)
def test_night_is_as_long_as_the_clocks_make_it(evening: date, hours: int, change_s: float) -> None:
    """20:00 to 08:00 on the wall; summer time 2026 in London begins 29 March, ends 25 October."""
    window = night_of(evening, EVENING, MORNING, LONDON)
    assert window.length_s == hours * 3600
    assert clock_change_s(window, LONDON) == change_s


def test_night_of_the_present_evening_is_cut_off_at_now() -> None:
    """At 21:30 the night is an hour and a half long; at 07:00 it runs from the evening before."""
    late = last_night(at("2026-03-04T21:30"), EVENING, MORNING, LONDON)
    assert (late.start_s, late.end_s) == (at("2026-03-04T20:00"), at("2026-03-04T21:30"))
    early = last_night(at("2026-03-05T07:00"), EVENING, MORNING, LONDON)
    assert (early.start_s, early.end_s) == (at("2026-03-04T20:00"), at("2026-03-05T07:00"))


def test_night_in_the_afternoon_is_the_whole_last_one() -> None:
    """And one night ago is the whole night before it."""
    now_s = at("2026-03-05T15:00")
    whole = last_night(now_s, EVENING, MORNING, LONDON)
    assert (whole.start_s, whole.end_s) == (at("2026-03-04T20:00"), at("2026-03-05T08:00"))
    before = last_night(now_s, EVENING, MORNING, LONDON, ago=1)
    assert (before.start_s, before.end_s) == (at("2026-03-03T20:00"), at("2026-03-04T08:00"))


def test_hours_within_one_day_are_a_window_too() -> None:
    """From 00:00 until 06:00 does not pass midnight."""
    window = night_of(date(2026, 3, 4), 0, 360, LONDON)
    assert window == Window(at("2026-03-04T00:00"), at("2026-03-04T06:00"))


def test_nights_compared_have_the_same_times_on_the_wall() -> None:
    """The night after the clocks changed is compared from 20:00 to 08:00 as the wall had it."""
    window = night_of(date(2026, 3, 29), EVENING, MORNING, LONDON)
    before = same_window_before(window, 1, LONDON)
    assert before == night_of(date(2026, 3, 28), EVENING, MORNING, LONDON)
