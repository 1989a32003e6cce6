"""Which night: a window of local wall time, with summer time minded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo


@dataclass(frozen=True, slots=True)
class Window:
    """From `start_s` up to `end_s` [s since 1970]."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s

    def holds(self, at_s: float) -> bool:
        return self.start_s <= at_s < self.end_s

    def overlap_s(self, from_s: float, to_s: float) -> float:
        """How long [from_s, to_s) lies inside."""
        return max(0.0, min(to_s, self.end_s) - max(from_s, self.start_s))


def night_of(evening: date, from_minute: int, until_minute: int, zone: tzinfo) -> Window:
    """The night that begins on the evening of a day; its end is the next such time on the wall.

    A night through the change to or from summer time is an hour shorter or longer. A time that
    the change leaves out is taken as by the clock before it, one that comes twice as the first.
    """
    start = _on_wall(evening, from_minute, zone)
    later = until_minute <= from_minute
    return Window(start, _on_wall(evening + timedelta(days=later), until_minute, zone))


def last_night(
    now_s: float, from_minute: int, until_minute: int, zone: tzinfo, ago: int = 0
) -> Window:
    """The newest night that has begun at `now_s`, cut off there; or one `ago` nights before."""
    today = datetime.fromtimestamp(now_s, zone).date()
    began = [
        night
        for back in (0, 1)
        if (
            night := night_of(today - timedelta(days=back), from_minute, until_minute, zone)
        ).start_s
        < now_s
    ]
    if not ago:
        return Window(began[0].start_s, min(began[0].end_s, now_s))
    return earlier(began[0], ago, from_minute, until_minute, zone)


def earlier(
    night: Window, nights: int, from_minute: int, until_minute: int, zone: tzinfo
) -> Window:
    """The whole night so many nights before this one."""
    evening = datetime.fromtimestamp(night.start_s, zone).date()
    return night_of(evening - timedelta(days=nights), from_minute, until_minute, zone)


def same_window_before(window: Window, nights: int, zone: tzinfo) -> Window:
    """The same times on the wall, so many days earlier."""
    return Window(
        _days_before(window.start_s, nights, zone), _days_before(window.end_s, nights, zone)
    )


def clock_change_s(window: Window, zone: tzinfo) -> float:
    """By how much the wall clock was set forward inside the window [s]; back is negative."""
    offsets = [
        datetime.fromtimestamp(at_s, zone).utcoffset() or timedelta()
        for at_s in (window.start_s, window.end_s)
    ]
    return (offsets[1] - offsets[0]).total_seconds()


def _on_wall(day: date, minute: int, zone: tzinfo) -> float:
    moment = datetime.combine(day, time(minute // 60, minute % 60), zone)
    return moment.timestamp()


def _days_before(at_s: float, days: int, zone: tzinfo) -> float:
    local = datetime.fromtimestamp(at_s, zone)
    return (local - timedelta(days=days)).timestamp()
