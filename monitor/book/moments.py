"""Times as people write them: `2026-03-09`, `2026-03-09 10:05`, in the room's own zone.

Of the hour that comes twice in autumn the first is meant; an offset (`01:30+00:00`) tells the
other. A time in the hour that spring skips is refused when it is typed: nobody can know which
of its neighbours was meant. A bare day begins with its first moment, whatever the clock shows.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from monitor.errors import BookError

_MINUTE = timedelta(minutes=1)


def parse_moment(text: str, zone: str) -> float:
    """Seconds since 1970; without an offset the time is the room's. Raises BookError, also for
    a time that the room's clocks never show."""
    at_s = kept_moment(text, zone)
    typed = datetime.fromisoformat(text.strip())
    if typed.tzinfo is None and not _is_day(text):
        _refuse_skipped(text, typed, ZoneInfo(zone))
    return at_s


def kept_moment(text: str, zone: str) -> float:
    """The same of what the book has already: a skipped time is read by the offset before the
    change, as it was when the book took it. Raises BookError."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise BookError(text, "is no time", "write 2026-03-09 or 2026-03-09T10:05") from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=ZoneInfo(zone))
    return moment.timestamp()


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text.strip())
    except ValueError:
        return False
    return True


def _refuse_skipped(text: str, typed: datetime, zone: ZoneInfo) -> None:
    """Raises BookError for a time of the wall that `zone` skips, with its two neighbours."""
    # By the offset before the change such a time is after it, and by the one after before it.
    late = typed.replace(tzinfo=zone).astimezone(UTC)
    if late.astimezone(zone).replace(tzinfo=None) == typed:
        return
    early = typed.replace(tzinfo=zone, fold=1).astimezone(UTC)
    first = _first_after_change(early, late, zone)
    before, after = ((first - step).astimezone(zone) for step in (_MINUTE, timedelta()))
    raise BookError(
        text,
        f"no clock in {zone.key} shows that time, it is skipped",
        f"write a time up to {before:%Y-%m-%dT%H:%M}, or from {after:%Y-%m-%dT%H:%M} on",
    )


def _first_after_change(early: datetime, late: datetime, zone: ZoneInfo) -> datetime:
    """The moment between two at which the zone's clocks go on, to the second."""
    offset = late.astimezone(zone).utcoffset()
    before_s, after_s = int(early.timestamp()) - 1, int(late.timestamp())
    while after_s - before_s > 1:
        middle_s = (before_s + after_s) // 2
        if datetime.fromtimestamp(middle_s, zone).utcoffset() == offset:
            after_s = middle_s
        else:
            before_s = middle_s
    return datetime.fromtimestamp(after_s, UTC)


def utc_stamp(at_s: float) -> str:
    """ISO 8601 in UTC, with as many decimals as it takes to read the same time back."""
    moment = datetime.fromtimestamp(at_s, UTC)
    return moment.isoformat(timespec="auto").replace("+00:00", "Z")
