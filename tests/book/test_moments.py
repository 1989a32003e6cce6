"""Times as people type them, on the two days on which clocks are changed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.book.moments import kept_moment, parse_moment
from monitor.errors import BookError

LONDON = "Europe/London"


def said(text: str, zone: str = LONDON) -> str:
    """The moment in UTC."""
    return f"{datetime.fromtimestamp(parse_moment(text, zone), UTC):%Y-%m-%dT%H:%M}"


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-03-29 00:59", "2026-03-29T00:59"),
        ("2026-03-29T02:00", "2026-03-29T01:00"),
        ("2026-03-29T01:30Z", "2026-03-29T01:30"),
        ("2026-03-29T01:30+00:00", "2026-03-29T01:30"),
        ("2026-10-25 01:30", "2026-10-25T00:30"),  # comes twice: the first
        ("2026-10-25 01:30+00:00", "2026-10-25T01:30"),  # the second, told by its offset
        ("2026-07-01", "2026-06-30T23:00"),
    ],
)
def test_a_time_that_is_there_is_taken(text: str, utc: str) -> None:
    assert said(text) == utc


@pytest.mark.parametrize(
    ("text", "zone", "before", "after"),
    [
        ("2026-03-29 01:00", LONDON, "2026-03-29T00:59", "2026-03-29T02:00"),
        ("2026-03-29 01:30", LONDON, "2026-03-29T00:59", "2026-03-29T02:00"),
        ("2026-03-29T01:59:59", LONDON, "2026-03-29T00:59", "2026-03-29T02:00"),
        ("2026-03-08 02:15", "America/Chicago", "2026-03-08T01:59", "2026-03-08T03:00"),
        ("2026-10-04 02:20", "Australia/Lord_Howe", "2026-10-04T01:59", "2026-10-04T02:30"),
        ("2011-12-30 12:00", "Pacific/Apia", "2011-12-29T23:59", "2011-12-31T00:00"),
    ],
)
def test_a_time_that_spring_skips_is_refused_with_its_neighbours(
    text: str, zone: str, before: str, after: str
) -> None:
    with pytest.raises(BookError) as refused:
        parse_moment(text, zone)
    assert f"no clock in {zone} shows that time" in str(refused.value)
    assert f"up to {before}, or from {after} on" in str(refused.value)
    minute = timedelta(minutes=1).total_seconds()
    assert parse_moment(after, zone) - parse_moment(before, zone) == minute


@pytest.mark.parametrize(
    ("day", "zone", "first"),
    [
        ("2024-04-26", "Africa/Cairo", "2024-04-26T01:00"),
        ("2011-12-30", "Pacific/Apia", "2011-12-31T00:00"),
    ],
)
def test_a_day_whose_midnight_is_skipped_begins_with_its_first_moment(
    day: str, zone: str, first: str
) -> None:
    """Whoever writes a day writes no hour that could be wrong."""
    at = datetime.fromtimestamp(parse_moment(day, zone), ZoneInfo(zone))
    assert f"{at:%Y-%m-%dT%H:%M}" == first


def test_what_the_book_has_already_is_not_refused() -> None:
    """It was taken once: nobody's next entry should stumble over it."""
    assert kept_moment("2026-03-29 01:30", LONDON) == parse_moment("2026-03-29 02:30", LONDON)
