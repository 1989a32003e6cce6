"""Every alarm has its words, in °C and °F, with any fact missing, and one caution at most."""

from __future__ import annotations

import itertools
import re
from dataclasses import fields, replace
from datetime import UTC

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.telling import event_line
from monitor.terms import AlarmKind, Reason, Transition, Urgency
from monitor.values import AlarmEvent, Facts
from monitor.words import MOST_TITLE, one_line, sentences
from monitor.words.sayings import NOT_JUDGED, SAYINGS, Caution
from tests.readme_examples import missing
from tests.words_samples import (
    CASES,
    COLD,
    GOLDEN,
    HOT,
    LIFE,
    LOT,
    NOW_S,
    PROBE,
    ROOM,
    ZONE,
    event,
    pages,
)  # fmt: skip

CALLS = (
    Transition.RAISED, Transition.URGENCY_CHANGED, Transition.UNSHELVED, Transition.UNSUPPRESSED,
    Transition.IN_SERVICE,
)  # fmt: skip
NEVER_SAID = (
    "contaminat",
    "infect",
    "edible",
    "eat",
    "trichoderma",
    "bacteria",
    "yeast",
    "safe to",
)
NEVER_RAISED = {Reason.LIKE_ITS_COHORT, *NOT_JUDGED} - {
    reason for kind, reason in SAYINGS if kind is AlarmKind.PROBE
}


def faults(one: AlarmEvent, units: str) -> list[str]:
    """What is wrong with the words of one event, whoever wrote them."""
    title, body = sentences(one, units, ZONE)
    line = one_line(one, units, ZONE)
    whole = f"{title}\n{body}\n{line}"
    cautions = sum(body.count(caution.value) for caution in Caution)
    other = "°C" if units == "F" else "°F"
    wrong = {
        "title too long": len(title) > MOST_TITLE,
        "title is not one line": "\n" in title,
        "line is not one line": "\n" in line,
        "empty": not (title and body and line),
        "None": "None" in whole or "nan" in whole.split(),
        "unfilled": bool(re.search(r"[{}]", whole)),
        "double space": "  " in whole or " \n" in whole or "\n\n" in whole,
        "stray sign": bool(re.search(r" [,.;:]|[,:;][,.;:]|\.\.|\(\)|: ?\n", whole)),
        "not one caution": cautions != (1 if one.transition in CALLS else 0),
        "caution not last": cautions == 1 and not body.endswith(tuple(c.value for c in Caution)),
        "other unit": other in whole and one.reason is not Reason.PROBE_UNIT_SLIP,
        "body ends loose": not body.endswith("."),
        "judges": any(re.search(rf"\b{word}", whole.lower()) for word in NEVER_SAID),
    }
    return [name for name, is_so in wrong.items() if is_so]


FILLED = {
    AlarmKind.STALLED_BAG: COLD, AlarmKind.LOT_APART: LOT, AlarmKind.ROOM: ROOM,
    AlarmKind.PROBE: PROBE, AlarmKind.HOUSE: Facts(detail="barn: timed out", silent_for_s=4000.0),
}  # fmt: skip


def test_every_reason_of_every_kind_reads_well_through_an_alarms_whole_life() -> None:
    """Not only the foreseen pairs: a reason nobody foresaw must not break a message."""
    found = {}
    moments = [(transition, Urgency.NOW) for transition in Transition]
    moments += [(Transition.RAISED, Urgency.TODAY), (Transition.RAISED, Urgency.LATER)]
    for kind, reason, (transition, urgency) in itertools.product(AlarmKind, Reason, moments):
        for facts, units in itertools.product((Facts(), FILLED.get(kind, HOT)), "CF"):
            one = event(kind, reason, facts, "subject", urgency, transition, note="seen")
            if wrong := faults(one, units):
                found[kind, reason, transition, urgency, units] = wrong
    assert found == {}


def test_every_reason_an_alarm_can_be_raised_for_has_words_of_its_own() -> None:
    told = {reason for _, reason in SAYINGS}
    assert set(Reason) - told == NEVER_RAISED


@pytest.mark.parametrize("left_out", [field.name for field in fields(Facts)])
def test_any_one_missing_fact_leaves_no_hole_in_the_words(left_out: str) -> None:
    bare = getattr(Facts(), left_out)
    for kind, cases in CASES.items():
        for reason, urgency, subject, facts in cases:
            one = event(kind, reason, replace(facts, **{left_out: bare}), subject, urgency)
            assert [faults(one, units) for units in "CF"] == [[], []]


number = st.one_of(st.none(), st.floats(-1e6, 1e6))
name = st.text(max_size=90)
names = st.lists(name, max_size=9).map(tuple)
any_facts = st.builds(
    Facts, bag=name, probe=name, cohort=name, strain=name, rack=name,
    shelf=st.one_of(st.none(), st.integers(0, 9)), slot=st.one_of(st.none(), st.integers(0, 99)),
    surface_c=number, air_c=number, excess_k=number, added_w_per_kg=number, rate_k_per_h=number,
    evidence=st.one_of(st.none(), st.floats(-900, 900)), peers=st.one_of(st.none(), st.integers(0)),
    since_s=st.one_of(st.none(), st.floats(0, 4e9)), core_c=number, limit_c=number,
    limit_duration_s=st.one_of(st.none(), st.floats(0, 1e7)),
    reached_in_s=st.one_of(st.none(), st.floats(0, 1e7)), low_c=number, high_c=number,
    silent_for_s=st.one_of(st.none(), st.floats(0, 1e7)),
    affected=st.one_of(st.none(), st.integers(0, 9999)),
    next_slot=names, next_inoculated=names, same_lot=names, detail=name,
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(
    facts=any_facts, subject=name, note=name, by=name,
    kind=st.sampled_from(AlarmKind), reason=st.sampled_from(Reason),
    transition=st.sampled_from(Transition), units=st.sampled_from("CF"),
)  # fmt: skip
def test_any_facts_and_any_text_from_outside_make_words_of_the_right_shape(
    facts: Facts, subject: str, note: str, by: str, kind: AlarmKind, reason: Reason,
    transition: Transition, units: str,
) -> None:  # fmt: skip
    one = event(kind, reason, facts, subject, transition=transition, by=by, note=note)
    title, body = sentences(one, units, ZONE)
    line = one_line(one, units, ZONE)
    assert len(title) <= MOST_TITLE and body
    assert title.isprintable() and line.isprintable()
    assert all(part.isprintable() for part in body.split("\n"))


@pytest.mark.parametrize("file_name", sorted(pages()))
def test_words_are_those_of_the_golden_file(file_name: str) -> None:
    """After a change of words: `python -m tests.words_samples`, then read the difference."""
    assert pages()[file_name] == (GOLDEN / file_name).read_text(encoding="utf-8")


def test_golden_files_show_every_reason_and_no_page_is_left_over() -> None:
    shown = {(kind, reason) for kind, cases in CASES.items() for reason, *_ in cases}
    assert shown == set(SAYINGS)
    assert {one.transition for _, one in LIFE} == set(Transition)
    of_alarms = {path.name for path in GOLDEN.glob("*.txt") if not path.name.startswith("night_")}
    assert of_alarms == set(pages())


def test_a_message_tells_place_warmth_peers_beginning_speed_certainty_and_neighbours() -> None:
    _, body = sentences(event(), "C", ZONE)
    for part in (
        "rack R2, shelf 4, slot 7", "1.9 °C over", "11 cohort mates", "27.4 °C on its surface",
        "since about Tue 12:40 (9 h)", "rising 0.2 °C an hour", "200 to 1",
        "B-030 and B-032 (next slot)", "B-032 (next inoculated)", "2 more (same spawn lot)",
        "Never open a suspect bag indoors",
    ):  # fmt: skip
        assert part.lower() in body.lower()


def test_a_difference_in_fahrenheit_has_no_32_in_it() -> None:
    title, body = sentences(event(facts=replace(HOT, excess_k=2.0)), "F", ZONE)
    assert "(+3.6 °F)" in title and "3.6 °F over" in body and "81.4 °F on its surface" in body


def test_a_bag_whose_probe_fell_off_is_not_called_back_to_normal() -> None:
    one = event(reason=Reason.PROBE_FELL_OFF, transition=Transition.RETURNED)
    title, body = sentences(one, "C", ZONE)
    assert title == "Not judged for now: bag B-031"
    assert "normal" not in body + one_line(one, "C", ZONE)


def test_a_return_tells_how_long_it_lasted() -> None:
    """Since it began, which an alarm is raised some time after: its words claim no more."""
    one = event(AlarmKind.ROOM, Reason.HEATER_STUCK, ROOM, "room", transition=Transition.RETURNED)
    title, body = sentences(one, "C", ZONE)
    assert title == "Back to normal: the room"
    assert "What was told of it had lasted 90 min, since Tue 20:10" in body and "alarm" not in body
    assert one_line(one, "C", ZONE) == "Back to normal: the room, after 90 min, since Tue 20:10"


@pytest.mark.parametrize("kind", [AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG])
def test_when_a_bags_heat_began_is_told_as_the_estimate_it_is(kind: AlarmKind) -> None:
    """Between two tellings it moves by hours; what was read at its hour is told by it."""
    bag, room = event(kind), event(AlarmKind.ROOM, Reason.HEATER_STUCK, ROOM, "room")
    assert ", since about Tue 12:40 (9 h), " in one_line(bag, "C", ZONE)
    back = replace(bag, transition=Transition.RETURNED)
    assert one_line(back, "C", ZONE).endswith(", since about Tue 12:40")
    assert "since about" not in one_line(room, "C", ZONE)


def test_what_is_over_is_not_shouted_in_the_log() -> None:
    one = event(AlarmKind.ROOM, Reason.HEATER_STUCK, ROOM, "room", Urgency.NOW)
    assert "  NOW: The room climbs as if" in event_line(one, "C", ZONE)
    over = replace(one, transition=Transition.RETURNED)
    assert event_line(over, "C", ZONE).startswith("Tue 2026-03-03 21:40  now: Back to normal: the")


def test_a_long_bag_code_is_cut_in_the_title_and_whole_in_the_body() -> None:
    code = "GO-12-G2-260303-B-" + "9" * 60
    title, body = sentences(event(facts=replace(HOT, bag=code)), "C", ZONE)
    assert len(title) <= MOST_TITLE and title.endswith("… is warmer than its cohort")
    assert code in body


def test_a_note_can_not_start_a_line_of_its_own() -> None:
    one = event(transition=Transition.SHELVED, by="Mara\r\n", note="x\n\x1b[31mraised\u2028a")
    assert sentences(one, "C", ZONE)[1].startswith("Shelved by Mara: x [31mraised a.\n")


def test_a_cohort_without_a_session_is_named_by_its_inoculation() -> None:
    facts = Facts(cohort=f"GO-12/-/-/L4/{NOW_S - 86400:.0f}")
    one = event(AlarmKind.LOT_APART, Reason.LOT_SLOW, facts, facts.cohort)
    title, body = sentences(one, "C", UTC)
    assert title == "Look today: cohort GO-12, lot L4 is colder than earlier runs"
    assert body.startswith("Cohort GO-12, lot L4 (inoculated Mon 20:40) is colder")


def test_an_air_probe_is_not_warned_of_piercing_a_bag() -> None:
    one = event(AlarmKind.PROBE, Reason.PROBE_JUMPED, Facts(probe="low", shelf=1), "low")
    assert sentences(one, "C", ZONE)[1].endswith(Caution.WET.value)


def test_the_alert_in_the_readme_is_told_so() -> None:
    title, body = sentences(event(), "C", ZONE)
    assert missing("Reading an alert", f"{title}\n{body}") == []
