"""What one cause explains, doubts that add up, and urgencies that ease: the moments that decide."""

from __future__ import annotations

import pytest

from monitor.judge.alarm_state import AlarmParams, Entry
from monitor.judge.floods import explained_by_room
from monitor.judge.tracks import Bucket
from monitor.values import AlarmKind, Facts, Reason, Transition, Urgency
from tests.judge.test_alarms import HOUR, Day, hot

PARAMS = AlarmParams()


def cause(began_s: float, returned_s: float | None = None) -> Entry:
    """A room alarm raised as it began."""
    return Entry(
        AlarmKind.ROOM, "room", Urgency.NOW, Reason.HEATER_STUCK, Facts(), began_s,
        raised_s=began_s, returned_s=returned_s,
    )  # fmt: skip


def called(began_s: float, kind: AlarmKind = AlarmKind.HOT_BAG) -> Entry:
    return Entry(kind, "B1", Urgency.TODAY, Reason.ADDED_HEAT, Facts(bag="B1"), began_s)


def test_a_room_explains_the_bags_that_follow_it_and_none_that_was_called_before() -> None:
    room = cause(10 * HOUR)
    assert explained_by_room(called(10 * HOUR), [room], 11 * HOUR, PARAMS)
    assert not explained_by_room(called(9 * HOUR), [room], 11 * HOUR, PARAMS)


@pytest.mark.parametrize(
    ("returned_h", "now_h", "explains"),
    [(None, 22.0, True), (None, 22.1, False), (15.0, 18.0, True), (15.0, 18.1, False)],
)
def test_a_room_explains_its_bags_for_half_a_day_and_three_hours_after_its_end(
    returned_h: float | None, now_h: float, explains: bool
) -> None:
    room = cause(10 * HOUR, None if returned_h is None else returned_h * HOUR)
    assert explained_by_room(called(11 * HOUR), [room], now_h * HOUR, PARAMS) is explains


def test_an_urgency_eases_only_once_it_was_milder_for_two_hours_without_a_break() -> None:
    day = Day()
    day.hold(hot(urgency=Urgency.NOW))
    for _ in range(3):
        assert not day.hold(hot(), hours=1.5)
        assert not day.hold(hot(urgency=Urgency.NOW), hours=0.5)
    (eased,) = day.hold(hot(), hours=3.0)
    assert (eased.transition, eased.urgency) == (Transition.URGENCY_CHANGED, Urgency.TODAY)


def test_one_good_reading_among_many_bad_ones_clears_no_doubt_and_as_many_do() -> None:
    bucket = Bucket()
    for at_s, doubt in enumerate([True, True, False, True, True]):
        bucket.add(doubt, float(at_s))
    assert bucket.full and bucket.since_s == 0.0
    for number in range(bucket.level):
        assert bucket.full, number
        bucket.add(False, 9.0)
    assert not bucket.full


def test_a_doubt_now_and_then_fills_no_bucket() -> None:
    bucket = Bucket()
    for number in range(300):
        bucket.add(number % 3 == 0, float(number))
    assert not bucket.full
