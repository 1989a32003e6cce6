"""Alarms and bags as messages of their own: what they say, and when they are worth one."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema

from monitor.neighbours.standings import alarms_of, standings_of, worth_telling
from monitor.room_messages import BagStanding, RoomAlarm
from monitor.room_summary import from_json, to_json
from monitor.settings.reference import message_schema_text
from monitor.terms import AlarmKind, Reason, Transition, Urgency
from monitor.values import Facts
from tests.neighbours.rooms import END_S, TELLER, alarm, bag, picture

BAGS = {code: bag(code) for code in ("GO12-001", "GO12-002")}


def test_an_alarm_says_what_was_found_and_not_who_answered_it() -> None:
    raised = alarm("GO12-001")
    latest = replace(
        raised.latest, transition=Transition.ACKNOWLEDGED, by="Robin", at_s=END_S - 60.0
    )
    standing = replace(raised, latest=latest, acknowledged_by="Robin", acknowledged_s=END_S - 60.0)
    told = alarms_of(TELLER, picture(BAGS, standing))["a-GO12-001"]
    assert (told.kind, told.bag, told.rack, told.shelf) == (AlarmKind.HOT_BAG, "GO12-001", "R1", 2)
    assert told.answered and told.told_s == END_S - 60.0 and told.since_s == END_S - 3600.0
    assert (told.figures.excess_k, told.figures.peers) == (1.25, 11)
    assert "GO12-001" in told.title and "On the next walk" in told.text
    payload = to_json(RoomAlarm, told)
    assert b"Robin" not in payload
    jsonschema.validate(json.loads(payload), json.loads(message_schema_text("alarm")))
    assert from_json(RoomAlarm, payload) == told


def test_a_bag_says_how_it_stands() -> None:
    hot = alarm("GO12-001")
    told = standings_of(TELLER, picture(BAGS, hot))
    assert (told["GO12-001"].called, told["GO12-001"].kind) == (Urgency.TODAY, AlarmKind.HOT_BAG)
    calm = told["GO12-002"]
    assert (calm.called, calm.kind, calm.reason) == (None, None, Reason.LIKE_ITS_COHORT)
    assert (calm.surface_c, calm.excess_k, calm.heat_w_per_kg, calm.core_c) == (
        25.0,
        0.5,
        1.2,
        27.0,
    )
    assert (calm.strain, calm.batch, calm.session, calm.spawn_lot) == (
        "GO-12", "QL-1", "S1", "GO12-G2",
    )  # fmt: skip
    payload = to_json(BagStanding, calm)
    jsonschema.validate(json.loads(payload), json.loads(message_schema_text("bag")))
    assert from_json(BagStanding, payload) == calm


def test_a_bag_is_told_of_when_it_means_something_else_and_each_hour() -> None:
    def at(minutes: float, *alarms, excess_k: float = 0.5):  # type: ignore[no-untyped-def]
        end_s = END_S + 60.0 * minutes
        return standings_of(TELLER, picture(BAGS, *alarms, end_s=end_s, excess_k=excess_k))

    first = worth_telling({}, at(10))
    assert first == at(10)
    moved = worth_telling(first, at(20, excess_k=0.9))
    assert moved == first  # numbers alone wait for the hour
    called = worth_telling(moved, at(30, alarm("GO12-001"), excess_k=0.9))
    assert called["GO12-001"].called is Urgency.TODAY
    assert called["GO12-001"].at_s == END_S + 1800.0
    assert called["GO12-002"] == first["GO12-002"]
    hourly = worth_telling(called, at(60, alarm("GO12-001"), excess_k=0.9))
    assert hourly == at(60, alarm("GO12-001"), excess_k=0.9)
    gone = worth_telling(hourly, {"GO12-001": hourly["GO12-001"]})
    assert set(gone) == {"GO12-001"}


def test_an_alarm_names_its_bag_also_where_only_its_subject_does() -> None:
    of_bag = alarm("GO12-001", facts=Facts())
    of_probe = alarm("p-1", AlarmKind.PROBE, reason=Reason.PROBE_STUCK, facts=Facts(probe="p-1"))
    of_bags_probe = alarm("p-2", AlarmKind.PROBE, reason=Reason.PROBE_STUCK, facts=Facts(bag="B-9"))
    told = alarms_of(TELLER, picture(BAGS, of_bag, of_probe, of_bags_probe))
    named = {number: (one.bag, one.probe) for number, one in told.items()}
    assert named == {"a-GO12-001": ("GO12-001", ""), "a-p-1": ("", "p-1"), "a-p-2": ("B-9", "")}
