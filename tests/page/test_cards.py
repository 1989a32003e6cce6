"""What a card says of an alarm, asked without a page."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC

from monitor.page.alarm_cards import cards
from monitor.page.show import coded
from monitor.store import StandingAlarm
from monitor.terms import AlarmKind, Reason, Transition, Urgency
from monitor.values import AlarmEvent, Facts


def hot(bag: str, at_s: float, first_in: bool) -> StandingAlarm:
    raised = AlarmEvent(
        f"e-{bag}", bag, at_s, AlarmKind.HOT_BAG, bag, Transition.RAISED, Urgency.TODAY,
        Reason.ADDED_HEAT, Facts(bag=bag), first_in,
    )  # fmt: skip
    return StandingAlarm(raised, raised)


def first(*alarms: StandingAlarm) -> list[str]:
    return [card.bag for card in cards(alarms, {}, "C", UTC) if card.came_first]


def test_words_in_backticks_are_marked_and_nothing_else_is() -> None:
    said = coded("write `re-taped` in <the book> & `moved`")
    marked = "write <code>re-taped</code> in &lt;the book&gt; &amp; <code>moved</code>"
    assert str(said) == marked


def test_a_bag_came_first_only_where_others_followed_it() -> None:
    """Two that were called on different days have nothing to do with each other."""
    assert first(hot("B1", 0.0, True)) == []
    assert first(hot("B1", 0.0, True), hot("B2", 90_000.0, True)) == []
    held_back = replace(hot("B2", 600.0, False), suppressed=True)  # a wider alarm explains it
    assert first(hot("B1", 0.0, True), held_back) == []
    assert first(hot("B2", 600.0, False), hot("B1", 600.0, True)) == ["B1"]
    assert first(hot("B1", 0.0, True), hot("B2", 90_000.0, True), hot("B3", 91_000.0, False)) == [
        "B2"
    ]
