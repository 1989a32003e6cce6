"""What happened while you slept, and which alarms ended, in lines to read at a glance."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

from monitor.page.chart import Line, chart
from monitor.settings.schema import Settings
from monitor.store import Reader
from monitor.terms import Transition
from monitor.values import AlarmEvent
from monitor.words import one_line, temperature

EVENING_HOUR, MORNING_HOUR = 20, 8
MOST_LINES = 60


@dataclass(frozen=True, slots=True)
class Happening:
    """An alarm event in one line."""

    at_s: float
    text: str
    urgency: str


@dataclass(frozen=True, slots=True)
class Night:
    """A night: its bounds, a first sentence, the air, what happened."""

    from_s: float
    until_s: float
    verdict: str
    air: str
    happenings: tuple[Happening, ...]
    picture: str


def window(now_s: float, zone: tzinfo) -> tuple[float, float]:
    """The last evening 20:00 to morning 08:00 on the room's wall, the present one if it is night.

    Local times are taken first and turned into UTC each, so the night of a summer-time change
    is 11 or 13 hours long.
    """
    now = datetime.fromtimestamp(now_s, zone)
    evening = now.replace(hour=EVENING_HOUR, minute=0, second=0, microsecond=0)
    if now < evening:
        evening -= timedelta(days=1)
    morning = (evening + timedelta(days=1)).replace(hour=MORNING_HOUR)
    return evening.timestamp(), min(morning.timestamp(), now_s)


def look_back(store: Reader, settings: Settings, units: str, now_s: float) -> Night:
    """The last night from the store's hourly estimates and events."""
    zone = ZoneInfo(settings.room.timezone)
    last = store.last_frame()
    from_s, until_s = window(last.end_s if last else now_s, zone)
    events = [
        one for one in store.events(from_s) if one.announced and from_s <= one.at_s <= until_s
    ]
    raised = sum(one.transition is Transition.RAISED for one in events)
    verdict = "A quiet night: no alarm was raised."
    if raised:
        verdict = f"{raised} alarm{'' if raised == 1 else 's'} in the night."
    air: dict[float, list[float]] = {}
    for estimate, _ in store.estimates(from_s, until_s):
        if estimate.local_air_c is not None:
            air.setdefault(estimate.at_s, []).append(estimate.local_air_c)
    course = [(at_s, sum(values) / len(values)) for at_s, values in sorted(air.items())]
    return Night(
        from_s,
        until_s,
        verdict,
        _air(course, units, zone),
        tuple(_happening(one, units, zone) for one in events[-MOST_LINES:]),
        _picture(course, units, zone),
    )


def ended_since(store: Reader, since_s: float, units: str, zone: tzinfo) -> list[Happening]:
    """Alarms that returned to normal since then, newest first."""
    events = [one for one in store.events(since_s) if one.transition is Transition.RETURNED]
    return [_happening(one, units, zone) for one in reversed(events[-MOST_LINES:])]


def _happening(event: AlarmEvent, units: str, zone: tzinfo) -> Happening:
    return Happening(event.at_s, one_line(event, units, zone), event.urgency.value)


def _air(course: list[tuple[float, float]], units: str, zone: tzinfo) -> str:
    if not course:
        return "No air was read."
    (low_s, low_c), (high_s, high_c) = min(course, key=_level), max(course, key=_level)
    mean_c = sum(value for _, value in course) / len(course)
    return (
        f"Air {temperature(low_c, units)} at the coldest ({_hour(low_s, zone)}),"
        f" {temperature(high_c, units)} at the warmest ({_hour(high_s, zone)}),"
        f" {temperature(mean_c, units)} on average, by the hour."
    )


def _level(point: tuple[float, float]) -> float:
    return point[1]


def _hour(at_s: float, zone: tzinfo) -> str:
    return datetime.fromtimestamp(at_s, zone).strftime("%H:%M")


def _picture(course: list[tuple[float, float]], units: str, zone: tzinfo) -> str:
    shown = [(at_s, value * 1.8 + 32.0 if units == "F" else value) for at_s, value in course]
    return chart(f"Air of the room through the night in °{units}", [Line("air", shown)], [], zone)
