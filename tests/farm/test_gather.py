"""What rooms tell, gathered: newest word, age, claims, refusals, bounds; hostile messages."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.farm.gather import MOST_BYTES, MOST_CLAIMS, MOST_REFUSED, MOST_ROOMS
from monitor.farm.standing import (
    LAST_WORD_S,
    Doubt,
    FarmView,
    Hearing,
    RoomStanding,
)
from monitor.room_summary import SummaryFault
from monitor.terms import Urgency
from tests.farm.samples import NOW_S, TOPICS, Heard, alarm, claim, lot, summary


def look(heard: Heard) -> FarmView:
    return heard.farm.look(heard.now)


def stands(heard: Heard, name: str = "North") -> RoomStanding:
    return next(one for one in look(heard).rooms if one.room == name)


SILENT_AFTER_S = 35 * 60.0


def test_a_live_word_ages_by_the_steady_clock_whatever_the_walls_say() -> None:
    """The room's own clock is an hour behind, and ours is set in between."""
    heard = Heard()
    heard.claim(claim())
    heard.summary(summary(at_s=NOW_S - 3600.0))
    heard.wall_s += 7200.0
    heard.pass_s(60.0)
    found = stands(heard)
    assert found.hearing is Hearing.HEARD
    assert found.age_s == pytest.approx(60.0)
    assert found.clock_ahead_s == pytest.approx(-3580.0)


def test_a_kept_word_is_as_old_as_it_says() -> None:
    heard = Heard()
    heard.claim(claim(), retained=True)
    heard.summary(summary(at_s=NOW_S - 600.0), retained=True)
    heard.pass_s(60.0)
    found = stands(heard)
    assert (found.hearing, found.age_s) == (Hearing.HEARD, pytest.approx(660.0))
    assert found.heard_s == pytest.approx(NOW_S - 600.0)
    assert found.clock_ahead_s is None
    heard.pass_s(SILENT_AFTER_S - 660.0 + 1.0)
    heard.claim(claim())
    assert stands(heard).hearing is Hearing.SILENT


def test_a_room_of_long_frames_is_given_longer() -> None:
    """One that closes a frame each hour has until five minutes after the third."""
    heard = Heard()
    heard.room(every_s=3600.0)
    heard.pass_s(3 * 3600.0 + 299.0)
    heard.claim(claim())
    assert stands(heard).hearing is Hearing.HEARD
    heard.pass_s(2.0)
    assert stands(heard).hearing is Hearing.SILENT


def test_a_kept_word_from_the_future_is_told_as_a_wrong_clock() -> None:
    heard = Heard()
    heard.claim(claim(), retained=True)
    heard.summary(summary(at_s=NOW_S + 3600.0), retained=True)
    assert stands(heard).clock_ahead_s == pytest.approx(3620.0)


def test_words_told_again_at_a_new_subscription_stay_as_old_as_they_were() -> None:
    """Also where a broker comes back with what it had on disk, from before the newest."""
    heard = Heard()
    heard.room()
    newest = stands(heard).summary
    heard.pass_s(1200.0)
    assert heard.farm.look(heard.now, listening=False).rooms[0].heard
    heard.farm.subscribed()
    heard.claim(claim(), retained=True)
    assert newest is not None
    heard.summary(newest, retained=True)
    heard.summary(replace(newest, at_s=newest.at_s - 600.0), retained=True)
    heard.farm.settled()
    found = stands(heard)
    assert found.age_s == pytest.approx(1200.0) and found.summary == newest
    later = replace(newest, at_s=heard.wall_s - 30.0)
    heard.summary(later, retained=True)
    assert stands(heard).age_s == pytest.approx(30.0)


def test_an_emptied_claim_says_that_nobody_watches_the_room() -> None:
    """The last word stays, with its time; who comes back is heard again."""
    heard = Heard()
    heard.room()
    heard.pass_s(30.0)
    heard.raw(TOPICS.claim("North", "store of North"), b"")
    found = stands(heard)
    assert found.hearing is Hearing.GONE and found.summary is not None
    assert found.heard_s == pytest.approx(NOW_S)
    heard.room()
    assert stands(heard).hearing is Hearing.HEARD


def test_a_claim_given_up_while_we_were_cut_off_is_gone_once_all_is_told_again() -> None:
    heard = Heard()
    heard.room("North")
    heard.room("South")
    heard.farm.subscribed()
    heard.claim(claim("South"), retained=True)
    assert stands(heard, "North").hearing is Hearing.HEARD
    heard.farm.settled()
    assert stands(heard, "North").hearing is Hearing.GONE
    assert stands(heard, "South").hearing is Hearing.HEARD


def test_a_claim_that_is_not_told_again_lapses() -> None:
    """Where the broker could not give out the last will, as it went down at the same time."""
    heard = Heard()
    heard.room()
    heard.pass_s(89.0)
    assert stands(heard).hearing is Hearing.HEARD
    heard.pass_s(2.0)
    assert stands(heard).hearing is Hearing.GONE
    heard.claim(claim())
    assert stands(heard).hearing is Hearing.HEARD


def test_an_interval_without_end_does_not_keep_a_claim_for_ever() -> None:
    heard = Heard()
    heard.claim(replace(claim(), keepalive_s=1e12))
    heard.pass_s(3 * 3600.0)
    assert stands(heard).claimants
    heard.pass_s(1.0)
    assert not stands(heard).claimants


def test_a_word_of_yesterday_says_nothing_of_lots_any_more() -> None:
    heard = Heard()
    heard.room(lots=(lot(),))
    heard.pass_s(LAST_WORD_S - 60.0)
    assert [(one.room, one.heard) for one in look(heard).room_lots()] == [("North", False)]
    heard.pass_s(61.0)
    assert look(heard).room_lots() == ()


def test_two_claims_to_one_name_are_both_shown() -> None:
    heard = Heard()
    heard.room()
    heard.claim(claim(instance="another", host="pi-south"))
    found = stands(heard)
    assert {one.host for one in found.claimants} == {"pi-north", "pi-south"}
    assert found.rank == 1


def test_a_claim_without_a_word_is_a_room_with_no_word_yet() -> None:
    heard = Heard()
    heard.claim(claim())
    found = stands(heard)
    assert (found.hearing, found.summary, found.age_s) == (Hearing.NO_WORD, None, None)
    heard.raw(TOPICS.claim("North", "store of North"), b"")
    assert look(heard).rooms == ()


def test_a_room_taken_off_the_broker_is_forgotten() -> None:
    heard = Heard()
    heard.summary(summary(), retained=True)
    assert stands(heard).hearing is Hearing.GONE
    heard.raw(TOPICS.summary("North"), b"")
    assert look(heard) == FarmView((), (), 0)
    heard.raw(TOPICS.summary("Never"), b"")
    assert look(heard) == FarmView((), (), 0)


def test_an_unknown_version_is_shown_with_its_reason_beside_the_last_good_word() -> None:
    heard = Heard()
    heard.room()
    body = json.loads(summary().to_json()) | {"version": 2}
    heard.raw(TOPICS.summary("North"), json.dumps(body).encode())
    found = stands(heard)
    assert found.hearing is Hearing.NOT_UNDERSTOOD
    assert found.refused is not None and found.refused.reason == SummaryFault.UNKNOWN_VERSION
    assert "version 2; 1 is known" in found.refused.detail
    assert found.summary is not None
    heard.room()
    assert stands(heard).refused is None


def test_a_message_of_another_room_under_this_topic_is_refused() -> None:
    heard = Heard()
    heard.claim(claim())
    heard.raw(TOPICS.summary("North"), summary("South").to_json())
    found = stands(heard)
    assert found.summary is None and found.refused is not None
    assert found.refused.reason == Doubt.OTHER_ROOM
    assert "South" in found.refused.detail


def test_a_claim_that_can_t_be_read_still_holds_the_room() -> None:
    heard = Heard()
    heard.raw(TOPICS.claim("North", "x"), b'{"version": 9}')
    heard.summary(summary())
    found = stands(heard)
    assert found.hearing is Hearing.HEARD
    assert [one.host for one in found.claimants] == [None]
    assert [one.reason for one in look(heard).refused] == [SummaryFault.UNKNOWN_VERSION]
    heard.claim(claim(instance="x"))
    assert look(heard).refused == ()


def test_rooms_come_in_the_order_in_which_one_would_go() -> None:
    heard = Heard()
    for name, alarms in {
        "Calm": (),
        "Answered": (alarm(Urgency.NOW, answered=True),),
        "Later": (alarm(Urgency.LATER),),
        "Today": (alarm(Urgency.TODAY),),
        "Now": (alarm(Urgency.NOW),),
        "Gone": (),
    }.items():
        heard.room(name, alarms=alarms)
    heard.raw(TOPICS.claim("Gone", "store of Gone"), b"")
    order = [one.room for one in look(heard).rooms]
    assert order == ["Now", "Gone", "Today", "Later", "Answered", "Calm"]


def test_everything_is_bounded_and_what_is_left_out_is_said() -> None:
    heard = Heard()
    for number in range(MOST_ROOMS + 5):
        heard.room(f"R{number:03}")
    found = look(heard)
    assert (len(found.rooms), found.left_out) == (MOST_ROOMS, 5)
    assert {one.reason for one in found.refused} == {Doubt.TOO_MANY_ROOMS}
    for number in range(MOST_CLAIMS + 3):
        heard.claim(claim("R000", f"i{number}"))
    assert len(stands(heard, "R000").claimants) == MOST_CLAIMS
    for number in range(100):
        heard.raw(f"elsewhere/{number}", b"x")
    refused = look(heard).refused
    assert len(refused) == MOST_REFUSED
    assert {one.reason for one in refused} == {Doubt.UNKNOWN_TOPIC}


def test_a_name_without_end_makes_no_room() -> None:
    heard = Heard()
    heard.raw(TOPICS.summary("Long" * 500), summary().to_json())
    found = look(heard)
    assert found.rooms == ()
    assert [(one.reason, len(one.topic)) for one in found.refused] == [(Doubt.UNKNOWN_TOPIC, 200)]


def test_summaries_that_are_too_much_together_are_refused_by_name() -> None:
    heard = Heard()
    long = tuple(lot("L" * 500, strain="S" * 500) for _ in range(800))
    size = len(summary(lots=long).to_json())
    for number in range(MOST_BYTES // size + 2):
        heard.room(f"R{number}", lots=long)
    reasons = [one.refused.reason for one in look(heard).rooms if one.refused]
    assert set(reasons) == {Doubt.TOO_MUCH} and len(reasons) < 3


TOPIC = st.one_of(
    st.text(max_size=40),
    st.text(max_size=12).map(lambda name: f"{TOPICS.prefix}/{name}/summary"),
    st.sampled_from([TOPICS.summary("North"), TOPICS.claim("North", "store of North")]),
    st.text(max_size=12).map(lambda name: f"{TOPICS.prefix}/North/claim/{name}"),
)
PAYLOAD = st.one_of(
    st.binary(max_size=80),
    st.sampled_from([b"", summary().to_json(), summary("Süd").to_json(), b'{"version": 2}']),
    st.integers(0, 600).map(lambda cut: summary().to_json()[:cut]),
)


@given(st.lists(st.tuples(TOPIC, PAYLOAD, st.booleans()), max_size=30))
@settings(max_examples=60, deadline=None, database=None, derandomize=True)
def test_whatever_comes_it_never_raises_and_always_shows(
    messages: list[tuple[str, bytes, bool]],
) -> None:
    heard = Heard()
    for topic, payload, retained in messages:
        heard.pass_s(1.0)
        heard.raw(topic, payload, retained)
        found = look(heard)
        assert len({one.room for one in found.rooms}) == len(found.rooms) <= MOST_ROOMS
        for one in found.rooms:
            assert one.summary or one.refused or one.claimants
            assert one.summary is None or one.summary.room == one.room
    heard.farm.subscribed()
    heard.farm.settled()
    assert all(not one.claimants for one in look(heard).rooms)


def test_claims_that_come_and_go_leave_nothing_behind() -> None:
    """Between two subscriptions, which may be months apart."""
    heard = Heard()
    heard.room()
    for number in range(1000):
        heard.raw(TOPICS.claim("North", f"i{number}"), b"{}")
        heard.raw(TOPICS.claim("North", f"i{number}"), b"")
    (room,) = heard.farm._rooms.values()
    assert len(room.fresh) <= MOST_CLAIMS
