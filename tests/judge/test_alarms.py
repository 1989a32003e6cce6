"""The life of alarms: conditions as a timetable in, events at moments out."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from monitor.judge.alarm_state import AlarmParams, AlarmState
from monitor.judge.alarms import Alarms
from monitor.values import (
    AlarmCommand,
    AlarmEvent,
    AlarmKind,
    Condition,
    Facts,
    Reason,
    Transition,
    Urgency,
)

HOUR = 3600.0
FRAME = 600.0
HOT = AlarmKind.HOT_BAG


def hot(bag: str = "B1", urgency: Urgency = Urgency.TODAY, **facts: object) -> Condition:
    known = Facts(bag=bag, cohort="GO-12/L4", peers=11, **facts)  # type: ignore[arg-type]
    return Condition(HOT, bag, urgency, Reason.ADDED_HEAT, known)


def room(reason: Reason = Reason.HEATER_STUCK) -> Condition:
    return Condition(AlarmKind.ROOM, "room", Urgency.NOW, reason, Facts(air_c=28.0))


def probe(reason: Reason, name: str = "p1", bag: str = "B1") -> Condition:
    return Condition(AlarmKind.PROBE, name, Urgency.TODAY, reason, Facts(bag=bag, probe=name))


class Day:
    """Alarms stepped frame by frame; everything that happened is kept."""

    def __init__(self, params: AlarmParams | None = None) -> None:
        self.alarms = Alarms(params or AlarmParams())
        self.at_s = 0.0
        self.events: list[AlarmEvent] = []

    def hold(self, *conditions: Condition, hours: float = 0.0) -> list[AlarmEvent]:
        """Let these hold for one frame, or for `hours`; what happened meanwhile."""
        happened: list[AlarmEvent] = []
        for _ in range(max(1, round(hours * HOUR / FRAME))):
            self.at_s += FRAME
            happened += self.alarms.step(conditions, self.at_s)
        self.events += happened
        return happened

    def ask(self, verb: str, note: str = "", until_s: float | None = None) -> list[AlarmEvent]:
        """A person's command on the alarm raised last."""
        alarm_id = self.events[-1].alarm_id
        command = AlarmCommand(self.at_s, verb, alarm_id, "the grower", note, until_s)
        happened = list(self.alarms.command(command))
        self.events += happened
        return happened

    def refusal(self, verb: str, note: str = "", until_s: float | None = None) -> str:
        alarm_id = self.events[-1].alarm_id
        command = AlarmCommand(self.at_s, verb, alarm_id, "the grower", note, until_s)
        assert bool(self.alarms.refusal(command)) != bool(self.alarms.command(command))
        return self.alarms.refusal(command)


def told(events: list[AlarmEvent]) -> list[tuple[str, str]]:
    return [(event.subject, event.transition.value) for event in events]


def test_an_alarm_is_raised_once_and_returns_after_its_off_delay() -> None:
    day = Day()
    assert told(day.hold(hot(), hours=10)) == [("B1", "raised")]
    assert day.hold(hours=1.9) == []
    assert told(day.hold(hours=0.4)) == [("B1", "returned to normal")]
    assert day.events[0].alarm_id == day.events[1].alarm_id


def test_a_short_gap_neither_returns_nor_raises_again() -> None:
    day = Day()
    day.hold(hot())
    assert day.hold(hours=1) == []
    assert day.hold(hot(), hours=5) == []


def test_on_delay_keeps_a_short_condition_silent() -> None:
    day = Day(AlarmParams(on_delay_s={HOT: 1800.0}))
    assert day.hold(hot(), hours=0.5) == []
    assert day.hold(hours=1) == []
    assert told(day.hold(hot(), hours=1)) == [("B1", "raised")]


def test_the_same_conditions_give_the_same_ids_and_different_moments_others() -> None:
    one, other = Day(), Day()
    for day in (one, other):
        day.hold(hot())
        day.hold(hours=3)
        day.hold(hot())
    assert one.events == other.events
    assert len({event.event_id for event in one.events}) == 3
    assert len({event.alarm_id for event in one.events}) == 2


def test_worse_is_told_at_once_and_milder_only_when_it_lasts() -> None:
    day = Day()
    day.hold(hot())
    (worse,) = day.hold(hot(urgency=Urgency.NOW))
    assert (worse.transition, worse.urgency) == (Transition.URGENCY_CHANGED, Urgency.NOW)
    assert day.hold(hot(), hours=1.5) == []
    (milder,) = day.hold(hot(), hours=1)
    assert (milder.transition, milder.urgency) == (Transition.URGENCY_CHANGED, Urgency.TODAY)


def test_a_look_again_that_becomes_a_call_is_raised_as_one() -> None:
    day = Day()
    (look,) = day.hold(hot(urgency=Urgency.LATER))
    (call,) = day.hold(hot())
    assert (look.urgency, call.transition, call.urgency) == (
        Urgency.LATER,
        Transition.RAISED,
        Urgency.TODAY,
    )
    assert look.alarm_id == call.alarm_id


def test_acknowledged_stays_so_until_it_gets_worse() -> None:
    day = Day()
    day.hold(hot())
    assert [event.by for event in day.ask("acknowledge")] == ["the grower"]
    assert day.alarms.standing()[0][1] is AlarmState.ACKNOWLEDGED
    assert day.ask("acknowledge") == []
    day.hold(hot(urgency=Urgency.NOW))
    assert day.alarms.standing()[0][1] is AlarmState.UNACKNOWLEDGED


def test_an_alarm_that_returned_unseen_is_kept_as_such_for_a_day() -> None:
    day = Day()
    day.hold(hot())
    day.hold(hours=3)
    assert day.alarms.standing()[0][1] is AlarmState.RETURNED_UNACKNOWLEDGED
    day.hold(hours=24)
    assert day.alarms.standing() == ()


def test_shelved_is_quiet_until_its_time_is_over_and_then_tells_what_stands() -> None:
    day = Day()
    day.hold(hot())
    assert told(day.ask("shelve", "re-taping today", day.at_s + 6 * HOUR)) == [("B1", "shelved")]
    assert day.hold(hot(urgency=Urgency.NOW), hours=5.5) == []
    assert told(day.hold(hot(), hours=1)) == [("B1", "unshelved")]


def test_shelved_alarm_whose_bag_cooled_returns_when_it_is_unshelved() -> None:
    day = Day()
    day.hold(hot())
    day.ask("shelve", "moved it", day.at_s + 6 * HOUR)
    day.hold(hours=4)
    assert told(day.ask("unshelve")) == [("B1", "unshelved")]
    assert told(day.hold()) == [("B1", "returned to normal")]


@pytest.mark.parametrize(
    ("verb", "note", "hours", "says"),
    [
        ("shelve", "", 6, "reason"),
        ("shelve", "why", None, "until when"),
        ("shelve", "why", 24 * 8, "at most 7 days"),
        ("shelve", "why", -1, "until when"),
        ("out of service", " ", None, "reason"),
        ("unshelve", "", None, "not shelved"),
        ("in service", "", None, "in service"),
        ("hush", "", None, "none of"),
    ],
)
def test_commands_that_cannot_be_followed_say_why(
    verb: str, note: str, hours: float | None, says: str
) -> None:
    day = Day()
    day.hold(hot())
    until_s = None if hours is None else day.at_s + hours * HOUR
    assert says in day.refusal(verb, note, until_s)


def test_a_command_for_an_unknown_alarm_is_refused() -> None:
    command = AlarmCommand(0.0, "acknowledge", "0123456789ab")
    alarms = Alarms(AlarmParams())
    assert "bagwatt alarms" in alarms.refusal(command)
    assert alarms.command(command) == ()


def test_out_of_service_is_quiet_for_as_long_as_it_is_meant() -> None:
    day = Day()
    day.hold(hot())
    day.ask("out of service", "trial bag, heats by a pad")
    assert day.hold(hot(), hours=48) == []
    assert day.hold(hours=48) == []
    assert told(day.ask("in service")) == [("B1", "in service")]
    assert told(day.hold()) == [("B1", "returned to normal")]


def test_a_stuck_heater_gives_one_room_alarm_and_no_flood_of_bags() -> None:
    day = Day()
    bags = [hot(f"B{i}") for i in range(20)]
    day.hold(room())
    day.hold(room(), *bags, probe(Reason.PROBE_JUMPED), hours=6)
    day.hold(*bags, hours=0.4)
    raised = [event.kind for event in day.events if event.transition is Transition.RAISED]
    assert raised == [AlarmKind.ROOM]
    held = [event.kind for event in day.events if event.transition is Transition.SUPPRESSED]
    assert held.count(HOT) == 20
    states = {entry.subject: state for entry, state in day.alarms.standing()}
    assert states["B7"] is AlarmState.SUPPRESSED


def test_a_bag_held_back_is_raised_once_its_room_is_well_again_and_it_is_still_hot() -> None:
    day = Day()
    day.hold(room())
    day.hold(room(), hot(), hours=2)
    assert told(day.hold(hot(), hours=0.7)) == [("room", "returned to normal")]
    assert told(day.hold(hot(), hours=3.5)) == [("B1", "raised")]


def test_a_bag_held_back_that_cools_is_told_as_returned() -> None:
    day = Day()
    day.hold(room())
    day.hold(room(), hot(), hours=2)
    assert ("B1", "returned to normal") in told(day.hold(hours=3))


def test_a_bag_called_before_the_room_went_wrong_stays_called() -> None:
    day = Day()
    day.hold(hot())
    assert told(day.hold(hot(), room())) == [("room", "raised")]


def test_a_room_outside_its_band_for_days_does_not_mute_its_bags() -> None:
    day = Day()
    day.hold(room(Reason.ROOM_HIGH), hours=13)
    assert told(day.hold(room(Reason.ROOM_HIGH), hot())) == [("B1", "raised")]


@pytest.mark.parametrize(
    "cause",
    [
        room(Reason.POWER_CUT),
        Condition(AlarmKind.HOUSE, "broker", Urgency.NOW, Reason.BROKER_LOST, Facts()),
    ],
)
def test_silent_probes_are_held_back_by_what_silences_them_all(cause: Condition) -> None:
    day = Day()
    silent = [probe(Reason.PROBE_SILENT, f"p{i}", f"B{i}") for i in range(30)]
    day.hold(cause, hours=0.5)
    day.hold(cause, *silent, hours=3)
    raised = [event.subject for event in day.events if event.transition is Transition.RAISED]
    assert raised == [cause.subject]


def test_a_lost_broker_does_not_explain_a_hot_bag() -> None:
    day = Day()
    lost = Condition(AlarmKind.HOUSE, "broker", Urgency.NOW, Reason.BROKER_LOST, Facts())
    day.hold(lost, hours=0.5)
    assert ("B1", "raised") in told(day.hold(lost, hot()))


def test_a_third_of_a_cohort_within_two_hours_is_told_as_one_with_the_first_in_kept() -> None:
    day = Day()
    day.hold(hot("B4"))
    bags = [hot(f"B{i}") for i in range(5)]
    events = day.hold(*bags)
    assert told(day.events[:1]) == [("B4", "raised")]
    assert day.events[0].first_in
    raised = [event for event in events if event.transition is Transition.RAISED]
    one, *bags_called = raised
    assert (one.kind, one.subject) == (AlarmKind.LOT_APART, "GO-12/L4")
    assert (one.reason, one.facts.affected) == (Reason.MANY_AT_ONCE, 5)
    assert one.facts.detail.startswith("first B4")
    assert one.announced
    assert [event.subject for event in bags_called] == ["B0", "B1", "B2", "B3"]
    assert not any(event.announced or event.first_in for event in bags_called)
    assert AlarmState.UNACKNOWLEDGED in {state for _, state in day.alarms.standing()}


def test_the_alarm_of_a_lot_stands_as_long_as_its_bags_are_called() -> None:
    day = Day()
    bags = [hot(f"B{i}") for i in range(6)]
    day.hold(*bags)
    assert day.hold(*bags, hours=24) == []


def test_a_bag_told_by_its_lot_is_told_itself_once_it_presses() -> None:
    day = Day()
    day.hold(*[hot(f"B{i}") for i in range(6)])
    bags = [replace(hot("B3"), urgency=Urgency.NOW), *[hot(f"B{i}") for i in (0, 1, 2, 4, 5)]]
    (event,) = day.hold(*bags)
    assert (event.subject, event.transition) == ("B3", Transition.URGENCY_CHANGED)
    assert event.announced
    gone = {event.subject: event.announced for event in day.hold(hours=9)}
    assert gone == {"GO-12/L4": True, "B3": True} | dict.fromkeys(
        ("B0", "B1", "B2", "B4", "B5"), False
    )


def test_four_bags_of_a_cohort_of_twelve_are_four_alarms() -> None:
    day = Day()
    events = day.hold(*[hot(f"B{i}") for i in range(4)])
    assert [event.kind for event in events] == [HOT] * 4
    assert [event.subject for event in events if event.first_in] == ["B0"]


def test_ten_bags_of_many_cohorts_become_one_room_alarm() -> None:
    day = Day()
    bags = [
        replace(hot(f"B{i}"), facts=Facts(bag=f"B{i}", cohort=f"c{i}", peers=9)) for i in range(12)
    ]
    events = day.hold(*bags)
    raised = [event for event in events if event.transition is Transition.RAISED]
    assert [(event.kind, event.reason) for event in raised] == [
        (AlarmKind.ROOM, Reason.MANY_AT_ONCE)
    ]
    assert raised[0].facts.affected == 12
    assert day.hold(*bags, hours=24) == []


def test_a_flood_ends_when_none_of_its_bags_is_called_any_more() -> None:
    day = Day()
    day.hold(*[hot(f"B{i}") for i in range(6)], hours=3)
    returned = [one for one, change in told(day.hold(hours=9)) if change == "returned to normal"]
    assert sorted(returned) == ["B0", "B1", "B2", "B3", "B4", "B5", "GO-12/L4"]


def test_bags_called_one_by_one_over_days_are_never_a_flood() -> None:
    day = Day()
    bags: list[Condition] = []
    for i in range(8):
        bags.append(hot(f"B{i}"))
        assert told(day.hold(*bags, hours=2.5)) == [(f"B{i}", "raised")]


def test_a_chattering_alarm_is_latched_until_it_has_been_quiet_for_long() -> None:
    day = Day()
    day.hold(hot())
    day.hold(hours=2.5)
    (again,) = day.hold(hot())
    assert "came and went" in again.note
    assert day.hold(hours=14) == []
    assert told(day.hold(hours=2)) == [("B1", "returned to normal")]


def test_a_hot_bag_whose_probe_turns_out_fallen_returns_at_once_with_the_reason() -> None:
    day = Day()
    day.hold(hot(), hours=3)
    events = day.hold(probe(Reason.PROBE_FELL_OFF))
    assert told(events) == [("p1", "raised"), ("B1", "returned to normal")]
    assert events[1].reason is Reason.PROBE_FELL_OFF
    assert "probe" in events[1].note


def test_facts_move_on_while_an_alarm_stands() -> None:
    day = Day()
    day.hold(hot(excess_k=1.0))
    day.hold(hot(excess_k=1.7))
    (returned,) = day.hold(hours=2.2)
    assert returned.facts.excess_k == 1.7


def test_resuming_anywhere_gives_the_same_events() -> None:
    timetable: list[tuple[Condition, ...]] = [
        (hot(),),
        (hot(urgency=Urgency.NOW), room()),
        (hot(), room(), *[hot(f"B{i}") for i in range(2, 14)]),
        *[()] * 14,
        (hot(next_slot=("B2",)),),
        tuple(hot(f"B{i}") for i in range(6)),
        *[()] * 30,
    ]
    whole = Day()
    for conditions in timetable:
        whole.hold(*conditions)
    for cut in range(0, len(timetable), 3):
        first = Day()
        for conditions in timetable[:cut]:
            first.hold(*conditions)
        second = Day()
        second.alarms.restore(json.loads(json.dumps(first.alarms.state())))
        second.at_s = first.at_s
        for conditions in timetable[cut:]:
            second.hold(*conditions)
        assert first.events + second.events == whole.events
