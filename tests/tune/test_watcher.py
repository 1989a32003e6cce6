"""Months of alarms are counted against their targets, with the setting that would help."""

from __future__ import annotations

from datetime import UTC
from zoneinfo import ZoneInfo

from monitor.review.watcher import Month, Person, month_lines, months
from monitor.terms import AlarmKind, Reason, Transition, Urgency
from monitor.values import AlarmEvent, Facts

MARCH_S = 1_772_323_200.0  # 2026-03-01T00:00:00Z
DAY_S, HOUR_S = 86400.0, 3600.0
MONTH = (MARCH_S, MARCH_S + 31 * DAY_S)


def event(
    at_s: float,
    subject: str = "B1",
    change: Transition = Transition.RAISED,
    kind: AlarmKind = AlarmKind.HOT_BAG,
    urgency: Urgency = Urgency.TODAY,
) -> AlarmEvent:
    return AlarmEvent(
        f"{at_s}", subject, at_s, kind, subject, change, urgency, Reason.ADDED_HEAT, Facts()
    )


def one(events: list[AlarmEvent], person: Person | None = None) -> Month:
    found = months(events, [person or Person("owner")], MONTH, UTC)
    assert [month.name for month in found] == ["2026-03"]
    return found[0]


def test_a_quiet_month_needs_no_help() -> None:
    raised = [event(MARCH_S + n * 3 * DAY_S, f"B{n}") for n in range(10)]
    over = [event(e.at_s + HOUR_S, e.subject, Transition.RETURNED) for e in raised]
    month = one(sorted(raised + over, key=lambda one: one.at_s))
    assert (month.alarms, month.most_in_an_hour, month.flood_hours) == (10, 1, 0)
    assert month.chattering == ()
    assert month.help == ()
    head, against = month_lines(month)
    assert head == "2026-03 owner: 10 alarms in 31 days (0 now, 10 today, 0 later)"
    assert against.startswith("  each with its target in brackets: 0.32 a day (1), most in an hour")
    assert "(!)" not in against


def test_one_alarm_is_one() -> None:
    month = one([event(MARCH_S)])
    assert month_lines(month)[0] == "2026-03 owner: 1 alarm in 31 days (0 now, 1 today, 0 later)"


def test_a_loud_month_names_the_kind_and_its_setting() -> None:
    """Forty pushes a month to one person are over one a day."""
    month = one([event(MARCH_S + n * 0.7 * DAY_S, f"B{n}") for n in range(40)])
    assert month.per_day > 1
    assert any("bagwatt tune" in line for line in month.help)
    assert "(!)" in month_lines(month)[1]


def test_eleven_alarms_in_an_hour_are_a_flood() -> None:
    month = one([event(MARCH_S + DAY_S + n * 60.0, f"B{n}") for n in range(11)])
    assert (month.most_in_an_hour, month.flood_hours) == (11, 1)


def test_three_raises_within_three_lags_are_chattering() -> None:
    near = [event(MARCH_S + n * 7 * HOUR_S) for n in range(3)]
    far = [event(MARCH_S + n * 8 * HOUR_S, "B2") for n in range(3)]
    assert one(near + far).chattering == ("hot bag B1",)


def test_alarms_that_stand_for_days_are_stale_until_answered() -> None:
    """Six stand from the first on; two of them are answered within a day."""
    raised = [event(MARCH_S + HOUR_S, f"B{n}") for n in range(6)]
    answered = [event(MARCH_S + 20 * HOUR_S, f"B{n}", Transition.ACKNOWLEDGED) for n in range(2)]
    assert one(raised + answered).most_stale == 4
    assert one(raised).most_stale == 6
    assert any("--acknowledge" in line for line in one(raised).help)


def test_a_person_counts_only_what_they_are_told() -> None:
    """By kind and by urgency, and never what was held back from its start."""
    events = [
        event(MARCH_S, "B1"),
        event(MARCH_S, "p1", kind=AlarmKind.PROBE),
        event(MARCH_S, "B2", urgency=Urgency.LATER),
    ]
    room_hand = Person("room hand", frozenset({AlarmKind.HOT_BAG}))
    assert one(events, room_hand).alarms == 1
    assert one(events).alarms == 2


def test_months_are_the_rooms_own_and_a_short_one_says_so() -> None:
    """By the wall clock of the room, where March begins five hours after UTC's."""
    zone = ZoneInfo("America/New_York")
    span = (MARCH_S + 4 * HOUR_S, MARCH_S + 6 * HOUR_S)
    found = months([], [Person("owner")], span, zone)
    assert [month.name for month in found] == ["2026-02", "2026-03"]
    assert "tell little" in month_lines(found[1])[2]
