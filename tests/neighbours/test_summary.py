"""A room's summary counts what a farm's page needs, and fits into what a broker takes."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema

from monitor.neighbours.messages import Messages
from monitor.neighbours.summary import MOST_BYTES, summary_of
from monitor.neighbours.topics import Topics
from monitor.room_summary import BagCounts, RoomAir, RoomSummary
from monitor.settings.reference import message_schema_text
from monitor.values import AlarmKind, Condition, Facts, Reason, Urgency
from tests.neighbours.rooms import END_S, TELLER, alarm, bag, picture

BAGS = {f"B-{n:03d}": bag(f"B-{n:03d}") for n in range(6)}


def test_bags_are_counted_by_their_gravest_alarm_and_air_over_its_probes() -> None:
    house = Condition(
        AlarmKind.HOUSE, "source barn", Urgency.TODAY, Reason.SOURCE_SILENT, Facts()
    )  # fmt: skip
    seen = picture(
        BAGS,
        alarm("B-000"),
        replace(alarm("B-000", AlarmKind.OVERHEATING, Urgency.NOW, Reason.CORE_LIMIT)),
        alarm("B-001", AlarmKind.STALLED_BAG, Urgency.LATER, Reason.COLDER),
        alarm("p-B-002", AlarmKind.PROBE, reason=Reason.PROBE_STUCK, facts=Facts(bag="B-002")),
        house=(house,),
    )
    told = summary_of(TELLER, seen)
    assert told.bags == BagCounts(total=6, now=1, today=0, later=1, calm=4, unheard=0)
    assert told.air == RoomAir(21.75, 21.0, 22.5, 20.0, 24.0, 70.0)
    assert [one.subject for one in told.alarms] == ["B-000", "B-000", "p-B-002", "B-001"]
    assert told.monitor.silent_sources == ("barn",)
    assert (told.monitor.undelivered, told.monitor.lag_s, told.at_s) == (2, 20.5, END_S)


def test_lots_by_strain_and_session_with_what_is_called_of_them() -> None:
    bags = {
        **BAGS,
        "A-1": bag("A-1", session=""),
        "A-2": bag("A-2", lot=""),  # of no lot
    }
    apart = alarm(BAGS["B-000"].cohort, AlarmKind.LOT_APART, reason=Reason.LOT_HOT, facts=Facts())
    hot, cold = alarm("B-000"), alarm("B-001", AlarmKind.STALLED_BAG, Urgency.LATER)
    heated = alarm("B-002", AlarmKind.OVERHEATING, Urgency.NOW)
    told = summary_of(TELLER, picture(bags, hot, cold, heated, apart)).lots
    assert [(lot.session, lot.bags) for lot in told] == [("S1", 6), ("2026-11-25T01:00:00.000Z", 1)]
    first = told[0]
    assert (first.called_now, first.called_today) == (1, 1)
    assert (first.called_warm, first.called_cold) == (1, 1)
    assert (first.judged, first.mean_excess_k, first.lot_alarm) == (6, 0.5, True)
    assert not told[1].lot_alarm


def test_held_back_and_out_of_service_alarms_are_not_told_and_shelved_ones_are_answered() -> None:
    held = replace(alarm("B-000"), suppressed=True)
    out = replace(alarm("B-001"), out_of_service=True)
    shelved = replace(alarm("B-002"), shelved=True)
    told = summary_of(TELLER, picture(BAGS, held, out, shelved))
    assert [(one.subject, one.answered) for one in told.alarms] == [("B-002", True)]
    assert told.bags.calm == 5


def test_a_crowded_room_fits_and_says_what_is_left_out() -> None:
    bags = {f"B-{n}": bag(f"B-{n}", lot=f"L{n // 2}") for n in range(300)}
    alarms = [alarm(code, urgency=Urgency.LATER) for code in bags]
    told = summary_of(TELLER, picture(bags, *alarms, alarm("B-7", urgency=Urgency.NOW)))
    assert (len(told.alarms), told.alarms_left_out) == (80, 221)
    assert (len(told.lots), told.lots_left_out) == (80, 70)
    assert told.alarms[0].urgency is Urgency.NOW
    assert len(told.to_json()) < MOST_BYTES


def test_names_as_long_as_they_like_fit_too_and_keep_the_schema() -> None:
    bags = {f"{n}{'ö' * 900}": bag(f"{n}{'ö' * 900}", lot="ß" * 900 + str(n)) for n in range(90)}
    told = summary_of(TELLER, picture(bags, *[alarm(code) for code in bags]))
    payload = told.to_json()
    assert len(payload) <= MOST_BYTES < 65_536
    assert told.alarms and told.alarms_left_out + len(told.alarms) == 90
    jsonschema.validate(json.loads(payload), json.loads(message_schema_text("standing")))
    assert RoomSummary.from_json(payload) == told


def test_an_empty_room_is_told_as_well() -> None:
    told = summary_of(TELLER, picture({}))
    assert told.bags.total == 0 and told.lots == () and told.alarms == ()
    assert RoomSummary.from_json(told.to_json()) == told


def test_the_address_of_the_rooms_page_and_how_often_it_tells_go_along() -> None:
    page = "http://pi-north.example:8423/"
    told = summary_of(replace(TELLER, page=page, every_s=3600.0), picture(BAGS))
    back = RoomSummary.from_json(told.to_json())
    assert (back.page, back.every_s) == (page, 3600.0)


def test_a_name_that_no_topic_takes_has_no_message_of_its_own_but_counts() -> None:
    bags = {"B-1": bag("B-1"), "ö" * 5000: bag("ö" * 5000), "a\x00/+": bag("a\x00/+")}
    topics = Topics()
    told = Messages(TELLER, topics, bags=True).of(picture(bags))
    assert set(told) == {
        topics.summary("North"),
        topics.bag("North", "B-1"),
        "bagwatt/rooms/North/bags/a%00%2F%2B",
    }
    assert RoomSummary.from_json(told[topics.summary("North")]).bags.total == 3
