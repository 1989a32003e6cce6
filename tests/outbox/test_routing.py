from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from monitor.outbox import SendAt, back_off_s, deliveries, due, route, routing
from monitor.settings.schema import QuietSettings, RecipientSettings
from monitor.settings.secrets import Secret
from monitor.store import OutboxRow
from monitor.values import AlarmKind, Delivery, Transition, Urgency
from tests.store.samples import delivery, event

ZONE = ZoneInfo("America/New_York")
NOON, NIGHT = 12 * 60, 23 * 60
NIGHTLY = QuietSettings(from_minute=22 * 60, until_minute=6 * 60 + 30)


def person(**changes: object) -> RecipientSettings:
    known = {"name": "Mara", "urls": (Secret("json://127.0.0.1/"),), "quiet": NIGHTLY}
    return RecipientSettings(**{**known, **changes})


def local_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp()


@pytest.mark.parametrize(
    ("urgency", "transition", "minute", "sent", "at"),
    [
        (Urgency.NOW, Transition.RAISED, NOON, True, SendAt.NOW),
        (Urgency.TODAY, Transition.RAISED, NOON, True, SendAt.NOW),
        (Urgency.NOW, Transition.RAISED, NIGHT, True, SendAt.NOW),
        (Urgency.NOW, Transition.URGENCY_CHANGED, NIGHT, True, SendAt.NOW),
        (Urgency.TODAY, Transition.URGENCY_CHANGED, NOON, False, SendAt.NOW),
        (Urgency.NOW, Transition.RETURNED, NIGHT, True, SendAt.AFTER_QUIET),
        (Urgency.TODAY, Transition.RAISED, NIGHT, True, SendAt.AFTER_QUIET),
        (Urgency.TODAY, Transition.UNSUPPRESSED, NOON, True, SendAt.NOW),
        (Urgency.TODAY, Transition.ACKNOWLEDGED, NOON, False, SendAt.NOW),
        (Urgency.TODAY, Transition.SUPPRESSED, NOON, False, SendAt.NOW),
        (Urgency.LATER, Transition.RAISED, NOON, False, SendAt.NOW),
    ],
)
def test_urgency_transition_and_hour_decide_when_a_person_is_told(
    urgency: Urgency, transition: Transition, minute: int, sent: bool, at: SendAt
) -> None:
    routed = route(event(1, transition, urgency=urgency), person(), minute)
    assert (routed.send, routed.at) == (sent, at)
    assert routed.reason


def test_later_waits_for_the_morning_of_those_who_want_it() -> None:
    routed = route(event(urgency=Urgency.LATER), person(least_urgency=Urgency.LATER), NOON)
    assert (routed.send, routed.at) == (True, SendAt.MORNING)


def test_what_was_held_back_from_its_start_returns_unheard() -> None:
    back = replace(event(1, Transition.RETURNED, urgency=Urgency.NOW), announced=False)
    assert not route(back, person(), NOON).send


def test_a_person_hears_only_of_the_kinds_asked_for() -> None:
    picky = person(kinds=(AlarmKind.ROOM,))
    assert not route(event(kind=AlarmKind.HOT_BAG), picky, NOON).send
    assert route(event(kind=AlarmKind.ROOM), picky, NOON).send


@pytest.mark.parametrize(
    ("minute", "quiet"),
    [(1319, False), (1320, True), (1439, True), (0, True), (389, True), (390, False)],
)
def test_quiet_hours_are_half_open_and_may_pass_midnight(minute: int, quiet: bool) -> None:
    assert routing.in_quiet(NIGHTLY, minute) is quiet
    assert routing.in_quiet(QuietSettings(from_minute=390, until_minute=1320), minute) is not quiet


@pytest.mark.parametrize(
    ("now", "at", "moment"),
    [
        ("2026-11-25T23:10", SendAt.AFTER_QUIET, "2026-11-26T06:30"),
        ("2026-11-26T05:00", SendAt.AFTER_QUIET, "2026-11-26T06:30"),
        ("2026-11-25T07:00", SendAt.MORNING, "2026-11-26T07:00"),
        # The night in which the clocks go back is an hour longer, and one of March shorter.
        ("2026-10-31T23:10", SendAt.AFTER_QUIET, "2026-11-01T06:30"),
        ("2026-03-07T23:10", SendAt.MORNING, "2026-03-08T07:00"),
    ],
)
def test_a_held_message_is_due_by_the_clock_on_the_wall(now: str, at: SendAt, moment: str) -> None:
    assert routing.send_at_s(at, person(), local_s(now), ZONE) == local_s(moment)


@pytest.mark.parametrize("hours_on", [0.0, 1.0], ids=["first", "second"])
def test_quiet_hours_that_end_in_the_hour_that_comes_twice_end_in_each(hours_on: float) -> None:
    """Else what is held in the second one would wait for a day."""
    quiet = QuietSettings(from_minute=22 * 60, until_minute=105)
    now_s = local_s("2026-11-01T01:30") + hours_on * 3600.0
    assert routing.in_quiet(quiet, routing.minute_of_day(now_s, ZONE))
    due_s = routing.send_at_s(SendAt.AFTER_QUIET, person(quiet=quiet), now_s, ZONE)
    assert due_s == now_s + 15 * 60.0


def test_messages_have_one_id_for_each_event_and_person_and_each_their_own_words() -> None:
    people = [
        person(),
        person(name="Ilse", units="F", quiet=None),
        person(name="Jo", kinds=("room",)),
    ]
    night_s = local_s("2026-11-25T23:00")

    def compose(one: RecipientSettings) -> tuple[str, str]:
        return f"for {one.name}", one.units or "C"

    made = deliveries(event(), people, night_s, ZONE, compose)
    assert [(one.message.message_id, one.message.title, one.message.body) for one in made] == [
        ("a1-1:Mara", "for Mara", "C"), ("a1-1:Ilse", "for Ilse", "F"),
    ]  # fmt: skip
    assert [one.next_try_s for one in made] == [local_s("2026-11-26T06:30"), night_s]
    assert made == deliveries(event(), people, night_s, ZONE, compose)


def test_back_off_doubles_from_half_a_minute_to_half_an_hour() -> None:
    assert [back_off_s(attempts) for attempts in (1, 2, 3, 6, 7, 8, 10_000)] == [
        30.0, 60.0, 120.0, 960.0, 1800.0, 1800.0, 1800.0,
    ]  # fmt: skip


def row(
    number: int, attempts: int = 0, next_s: float = 0.0, bundle: str = "", **changes
) -> OutboxRow:
    one = delivery(number, **changes)
    waiting = Delivery(one.message, attempts, next_s or one.next_try_s, "waiting")
    return OutboxRow(waiting, one.next_try_s, bundle, frozenset())


def ids(rows: tuple[OutboxRow, ...]) -> list[str]:
    return [one.delivery.message.message_id for one in rows]


def test_one_message_at_a_time_goes_to_a_person_in_the_order_given() -> None:
    assert ids(due([row(1), row(2)], 1000.0)) == ["m1:Mara"]
    assert due([row(1)], 999.0) == ()


def test_what_was_held_goes_as_one_bundle_apart_from_what_was_not() -> None:
    held = [row(1, due_s=5000.0), row(2, due_s=5000.0)]
    fresh = row(3, created_s=5000.0)
    assert ids(due([*held, fresh], 5000.0)) == ["m1:Mara", "m2:Mara"]
    assert ids(due([fresh, *held], 5000.0)) == ["m3:Mara"]


def test_a_bundle_once_tied_takes_nobody_more_along() -> None:
    tied = [row(number, attempts=1, bundle="m1:Mara", due_s=5000.0) for number in (1, 2)]
    assert ids(due([*tied, row(3, due_s=5000.0)], 6000.0)) == ["m1:Mara", "m2:Mara"]
    untried = row(1, bundle="m1:Mara", due_s=5000.0)
    assert ids(due([row(3, due_s=5000.0), untried], 6000.0)) == ["m3:Mara"]


def test_while_a_channel_rests_only_an_urgent_first_try_goes() -> None:
    rows = [row(1), row(2, urgency=Urgency.NOW, attempts=2), row(3, urgency=Urgency.NOW)]
    assert ids(due(rows, 1000.0, resting_until_s=1030.0)) == ["m3:Mara"]
    assert ids(due(rows, 1030.0, resting_until_s=1030.0)) == ["m1:Mara"]


def test_a_message_is_given_up_after_a_day_of_trying_but_not_for_a_clock_that_jumped() -> None:
    day = 86400.0
    assert routing.expired(row(1, attempts=10), 1000.0 + day)
    assert not routing.expired(row(1, attempts=10), 999.0 + day)
    assert not routing.expired(row(1, attempts=0), 1.7e9)
    assert routing.expired(row(1, expires_s=2000.0), 2000.0)


def test_a_bundle_reads_as_one_message_under_its_own_id_and_not_too_long() -> None:
    rows = [row(number, bundle="m1:Mara") for number in range(1, 4)]
    one = routing.bundled(rows)
    assert one.message_id == "m1:Mara"
    assert one.title == "3 notes: Bag B-01 is warm, …"
    assert "Bag B-02 is warm\nGo and look." in one.body
    many = routing.bundled([row(number, bundle="m1:Mara") for number in range(1, 400)])
    assert len(many.body) <= routing.LONGEST_BUNDLE
    assert many.body.startswith("- Bag B-01 is warm\n") and many.body.endswith("see the page")
    assert routing.bundled([row(7)]).title == "Bag B-07 is warm"
