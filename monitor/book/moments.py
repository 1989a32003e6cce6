"""Times as people write them: `2026-03-09`, `2026-03-09 10:05`, in the room's own zone."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from monitor.errors import BookError


def parse_moment(text: str, zone: str) -> float:
    """Seconds since 1970; without an offset the time is the room's. Raises BookError."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise BookError(text, "is no time", "write 2026-03-09 or 2026-03-09T10:05") from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=ZoneInfo(zone))
    return moment.timestamp()


def utc_stamp(at_s: float) -> str:
    """ISO 8601 in UTC, with as many decimals as it takes to read the same time back."""
    moment = datetime.fromtimestamp(at_s, UTC)
    return moment.isoformat(timespec="auto").replace("+00:00", "Z")
