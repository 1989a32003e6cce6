"""The watcher watched: how many alarms a month asks of each person, against published targets.

Targets are those of EEMUA 191 and ISA-18.2 as far as they fit: a control room answers an alarm
in seconds, a bag warms over hours. Where they do not, ours are said to be ours.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo

from monitor.terms import DAY_S, HOUR_S, AlarmKind, Transition, Urgency
from monitor.values import AlarmEvent
from monitor.words.quantities import counted

#: Ours: one push per person and day.
MOST_PER_DAY = 1.0
#: "Very likely acceptable" by ISA-18.2's tables, read through a public compliance note.
MOST_PER_HOUR = 6
#: A flood begins above ten alarms: EEMUA 191 in ten minutes, here in an hour (ours).
FLOOD_PER_HOUR = 10
#: Stale: stands for over 24 h, fewer than five on any day (ISA-18.2, same note).
STALE_S, MOST_STALE = DAY_S, 4
#: Chattering: three raises within 15 h, three lags of a large bag (ours); the target is none.
CHATTER_COUNT, CHATTER_S = 3, 15 * HOUR_S
#: Less than a month tells little; ISA-18.2 asks for 30 days.
FEW_DAYS = 30


@dataclass(frozen=True, slots=True)
class Person:
    """Who is told: alarms of `kinds` (all where empty) that are at least this urgent."""

    name: str
    kinds: frozenset[AlarmKind] = frozenset()
    least_urgency: Urgency = Urgency.TODAY

    def gets(self, event: AlarmEvent) -> bool:
        in_kind = not self.kinds or event.kind in self.kinds
        return in_kind and event.urgency.rank >= self.least_urgency.rank


@dataclass(frozen=True)
class Month:
    """One month (`name` such as 2026-03) of one person; `most_stale` on its worst day."""

    name: str
    person: str
    days: float
    alarms: int
    most_in_an_hour: int
    flood_hours: int
    most_stale: int
    chattering: tuple[str, ...]
    urgencies: Mapping[Urgency, int] = field(default_factory=dict)
    kinds: Mapping[AlarmKind, int] = field(default_factory=dict)

    @property
    def per_day(self) -> float:
        return self.alarms / self.days if self.days > 0 else 0.0

    @property
    def help(self) -> tuple[str, ...]:
        """Which settings would bring it back to its targets, in words."""
        return tuple(_help(self))


def months(
    events: Iterable[AlarmEvent],
    people: Sequence[Person],
    span_s: tuple[float, float],
    zone: tzinfo,
) -> tuple[Month, ...]:
    """Every month of the span for every person, oldest first. `events` oldest first, all of
    the span; one that was never announced asked nothing of anybody."""
    told = [one for one in events if one.announced]
    stays = _stays(told, span_s[1])
    found = []
    for name, begin_s, end_s in _months(span_s, zone):
        for person in people:
            found.append(_month(name, (begin_s, end_s), person, told, stays))
    return tuple(found)


def _month(
    name: str,
    span_s: tuple[float, float],
    person: Person,
    told: Sequence[AlarmEvent],
    stays: Sequence[tuple[AlarmEvent, float]],
) -> Month:
    begin_s, end_s = span_s
    raised = [
        one
        for one in told
        if one.transition in (Transition.RAISED, Transition.URGENCY_CHANGED)
        and begin_s <= one.at_s < end_s
        and person.gets(one)
        and (one.transition is Transition.RAISED or one.urgency is not Urgency.LATER)
    ]
    hours = Counter(int(one.at_s // HOUR_S) for one in raised)
    days = range(int(begin_s // DAY_S), int((end_s - 1.0) // DAY_S) + 1)
    stale = [
        sum(
            one.at_s + STALE_S <= (number + 1) * DAY_S and until_s >= number * DAY_S + STALE_S
            for one, until_s in stays
            if person.gets(one)
        )
        for number in days
    ]
    return Month(
        name=name,
        person=person.name,
        days=(end_s - begin_s) / DAY_S,
        alarms=len(raised),
        most_in_an_hour=max(hours.values(), default=0),
        flood_hours=sum(count > FLOOD_PER_HOUR for count in hours.values()),
        most_stale=max(stale, default=0),
        chattering=_chattering(raised),
        urgencies=Counter(one.urgency for one in raised),
        kinds=Counter(one.kind for one in raised),
    )


def _stays(told: Iterable[AlarmEvent], last_s: float) -> list[tuple[AlarmEvent, float]]:
    """Each alarm with the moment at which it was answered or returned to normal."""
    open_: dict[str, AlarmEvent] = {}
    found = []
    for one in told:
        if one.transition is Transition.RAISED:
            open_[one.alarm_id] = one
        elif one.transition in _ENDS and one.alarm_id in open_:
            found.append((open_.pop(one.alarm_id), one.at_s))
    return found + [(one, last_s) for one in open_.values()]


_ENDS = frozenset(
    {
        Transition.RETURNED,
        Transition.ACKNOWLEDGED,
        Transition.SHELVED,
        Transition.SUPPRESSED,
        Transition.OUT_OF_SERVICE,
    }
)


def _chattering(raised: Iterable[AlarmEvent]) -> tuple[str, ...]:
    """Alarms that came three times within three lags of a bag."""
    times: dict[str, list[float]] = {}
    for one in raised:
        if one.transition is Transition.RAISED:
            times.setdefault(f"{one.kind} {one.subject}", []).append(one.at_s)
    return tuple(
        sorted(
            name
            for name, at_s in times.items()
            if any(
                later - first <= CHATTER_S
                for first, later in zip(at_s, at_s[CHATTER_COUNT - 1 :], strict=False)
            )
        )
    )


_HELP: Mapping[AlarmKind, str] = {
    AlarmKind.HOT_BAG: "`bagwatt tune STRAIN` (least_excess, false_calls_per_100, hold)",
    AlarmKind.STALLED_BAG: "`bagwatt tune STRAIN` (least_excess, false_calls_per_100, hold)",
    AlarmKind.OVERHEATING: "`bagwatt tune STRAIN` (core_limits), or a cooler room",
    AlarmKind.LOT_APART: "the lot itself: `bagwatt trace`",
    AlarmKind.ROOM: "room.band_hold, room.band_low and room.band_high, or the thermostat",
    AlarmKind.PROBE: "the probes: tape them anew, change the weak ones",
    AlarmKind.HOUSE: "the source or the person that fails: `bagwatt check`",
}


def _help(month: Month) -> list[str]:
    """Which setting would bring a month back to its targets."""
    lines = []
    kind = max(month.kinds, key=lambda one: month.kinds[one], default=None)
    often = month.per_day > MOST_PER_DAY and month.alarms > 1
    crowded = month.most_in_an_hour > MOST_PER_HOUR or month.flood_hours
    if kind is not None and (often or crowded):
        lines.append(f"most are `{kind}` ({month.kinds[kind]} of {month.alarms}): {_HELP[kind]}")
        lines.append("or recipients[].kinds and recipients[].least_urgency, so that fewer are told")
    if month.chattering:
        lines.append(
            f"{month.chattering[0]} comes and goes: a longer hold, or `bagwatt alarms --shelve`"
        )
    if month.most_stale > MOST_STALE:
        lines.append("many stand unanswered for days: `bagwatt alarms --acknowledge` or --shelve")
    return lines


def _months(span_s: tuple[float, float], zone: tzinfo) -> list[tuple[str, float, float]]:
    """Name, begin and end of each calendar month of the room that the span touches."""
    found: list[tuple[str, float, float]] = []
    moment = datetime.fromtimestamp(span_s[0], zone)
    year, month = moment.year, moment.month
    while True:
        following = (year + month // 12, month % 12 + 1)
        begin_s = datetime(year, month, 1, tzinfo=zone).timestamp()
        end_s = datetime(*following, 1, tzinfo=zone).timestamp()
        if begin_s >= span_s[1]:
            return found
        found.append((f"{year}-{month:02d}", max(begin_s, span_s[0]), min(end_s, span_s[1])))
        year, month = following


def month_lines(month: Month) -> list[str]:
    """A month in words: counts beside their targets, then what would help."""

    def told(what: str, good: bool) -> str:
        return what if good else f"{what} (!)"

    parts = [
        told(f"{month.per_day:.2f} a day (1)", month.per_day <= MOST_PER_DAY or month.alarms <= 1),
        told(
            f"most in an hour {month.most_in_an_hour} ({MOST_PER_HOUR})",
            month.most_in_an_hour <= MOST_PER_HOUR,
        ),
        told(f"flood hours {month.flood_hours} (0)", not month.flood_hours),
        told(f"stale at once {month.most_stale} ({MOST_STALE})", month.most_stale <= MOST_STALE),
        told(f"chattering {len(month.chattering)} (0)", not month.chattering),
    ]
    share = ", ".join(f"{month.urgencies.get(one, 0)} {one}" for one in Urgency)
    alarms = counted(month.alarms, "alarm", "alarms")
    days = counted(round(month.days), "day", "days")
    head = f"{month.name} {month.person}: {alarms} in {days} ({share})"
    few = [f"  {days} tell little: {FEW_DAYS} are asked for"] if month.days < FEW_DAYS else []
    against = f"  each with its target in brackets: {', '.join(parts)}"
    return [head, against, *few, *(f"  would help: {one}" for one in month.help)]
