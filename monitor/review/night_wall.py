"""Times of a night as on the wall. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo

from monitor.review.nights import Window, clock_change_s

HALF_A_DAY_S = 12 * 3600.0
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Wall:
    """Tells times as on the wall; through a change of the clocks with the name of the time."""

    zone: tzinfo
    named: bool = False

    @staticmethod
    def of(window: Window, zone: tzinfo) -> Wall:
        return Wall(zone, bool(clock_change_s(window, zone)))

    def time(self, at_s: float) -> str:
        """ "02:40", or "02:40 BST" in a night in which the clocks changed."""
        local = datetime.fromtimestamp(at_s, self.zone)
        name = f" {local.tzname()}" if self.named else ""
        return f"{local.hour:02d}:{local.minute:02d}{name}"

    def day(self, at_s: float) -> str:
        """ "Tue 3 Mar"."""
        local = datetime.fromtimestamp(at_s, self.zone)
        return f"{_DAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]}"

    def from_to(self, start_s: float, end_s: float | None, window: Window) -> str:
        """ "01:40 to 06:20", with days where it began or ended outside the night."""
        begin = self.time(start_s)
        if start_s < window.start_s - HALF_A_DAY_S:
            begin = f"{self.day(start_s)} {begin}"
        return f"since {begin}" if end_s is None else f"{begin} to {self.time(end_s)}"
