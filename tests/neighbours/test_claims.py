"""Who keeps a room's name: two monitors on a broker that is a list of kept claims."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.neighbours.claims import DEAF_LISTENS, LISTEN_S, MOST_OTHERS, Claims, Place
from monitor.room_messages import CLAIM_INTERVALS as INTERVALS
from monitor.room_messages import RoomClaim
from monitor.room_summary import VERSION, to_json

KEEPALIVE_S = 30.0
OLD = RoomClaim(VERSION, "Quarry Lane", "North", "aa", "1", 1000.0, "pi-1", KEEPALIVE_S)
YOUNG = replace(OLD, instance="bb", since_s=2000.0, host="pi-2")
TWIN = replace(OLD, run="2", host="pi-2")


class Kept:
    """Claims kept under one room's name, told to every monitor that listens."""

    def __init__(self) -> None:
        self.now_s = 100.0
        self.kept: dict[str, bytes] = {}
        self.all: list[Claims] = []

    def join(self, claim: RoomClaim) -> Claims:
        claims = Claims(claim)
        claims.begin(self.now_s)
        self.all.append(claims)
        for instance, payload in list(self.kept.items()):
            claims.came(instance, payload, True, self.now_s)
        self.settle()
        return claims

    def tell(self, instance: str, payload: bytes) -> None:
        self.kept[instance] = payload
        if not payload:
            del self.kept[instance]
        for one in self.all:
            one.came(instance, payload, False, self.now_s)

    def settle(self) -> None:
        for _ in range(6):
            for one in self.all:
                one.look(self.now_s)
                if one.tells(self.now_s):
                    self.tell(one.own.instance, to_json(RoomClaim, one.own))
                for instance in one.empties():
                    self.tell(instance, b"")

    def pass_s(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.5)):
            self.now_s += 0.5
            self.settle()

    def die(self, claims: Claims) -> None:
        """Its last will empties its topic."""
        self.all.remove(claims)
        self.tell(claims.own.instance, b"")


def test_alone_it_has_the_name_once_it_has_listened() -> None:
    kept = Kept()
    alone = kept.join(OLD)
    assert alone.place is Place.LISTENING
    kept.pass_s(LISTEN_S + 0.5)
    assert alone.place is Place.HOLDING and alone.holder is None
    assert list(kept.kept) == ["aa"]


@pytest.mark.parametrize("order", [(OLD, YOUNG), (YOUNG, OLD)])
@pytest.mark.parametrize("between_s", [0.0, 1.0, 10.0])
def test_the_older_claim_keeps_the_name_whoever_comes_first(
    order: tuple[RoomClaim, RoomClaim], between_s: float
) -> None:
    kept = Kept()
    first = kept.join(order[0])
    kept.pass_s(between_s)
    second = kept.join(order[1])
    kept.pass_s(200.0)
    old, young = (first, second) if order[0] is OLD else (second, first)
    assert (old.place, young.place) == (Place.HOLDING, Place.ASIDE)
    assert young.holder == OLD
    assert list(kept.kept) == ["aa"], "who stands aside takes its claim away"


def test_of_two_claims_of_one_moment_the_lower_id_keeps_it() -> None:
    kept = Kept()
    other = kept.join(replace(YOUNG, since_s=OLD.since_s))
    own = kept.join(OLD)
    kept.pass_s(5.0)
    assert (own.place, other.place) == (Place.HOLDING, Place.ASIDE)


def test_the_place_is_taken_when_the_holders_claim_is_emptied() -> None:
    kept = Kept()
    old, young = kept.join(OLD), kept.join(YOUNG)
    kept.pass_s(5.0)
    kept.die(old)
    kept.settle()
    assert young.place is Place.LISTENING, "another may be there as well"
    kept.pass_s(LISTEN_S + 0.5)
    assert young.place is Place.HOLDING
    assert list(kept.kept) == ["bb"]
    back = kept.join(replace(OLD, run="9"))
    kept.pass_s(5.0)
    assert (back.place, young.place) == (Place.HOLDING, Place.ASIDE)


def test_a_claim_that_is_not_told_again_lapses_and_is_taken_off() -> None:
    """As after a broker that was cut off: its disk holds a claim, and nobody a last will."""
    kept = Kept()
    kept.kept["aa"] = to_json(RoomClaim, OLD)
    young = kept.join(YOUNG)
    kept.pass_s(INTERVALS * KEEPALIVE_S - 1.0)
    assert young.place is Place.ASIDE
    kept.pass_s(LISTEN_S + 2.0)
    assert young.place is Place.HOLDING
    assert list(kept.kept) == ["bb"]


def test_a_store_that_starts_anew_passes_its_own_claim_of_before() -> None:
    kept = Kept()
    before = kept.join(OLD)
    kept.pass_s(5.0)
    kept.all.remove(before)  # killed; its last will is still to come
    again = kept.join(TWIN)
    kept.pass_s(LISTEN_S + 0.5)
    assert again.place is Place.HOLDING
    kept.tell("aa", b"")  # the old connection's last will
    kept.pass_s(1.5)
    assert again.place is Place.HOLDING
    assert kept.kept == {"aa": to_json(RoomClaim, TWIN)}, "told again"


@pytest.mark.parametrize("order", [(OLD, TWIN), (TWIN, OLD)])
def test_of_two_runs_on_copies_of_one_store_one_stands_aside(
    order: tuple[RoomClaim, RoomClaim],
) -> None:
    kept = Kept()
    kept.join(order[0])
    kept.pass_s(5.0)
    kept.join(order[1])
    kept.pass_s(200.0)
    places = {one.own.run: one.place for one in kept.all}
    assert places == {"1": Place.HOLDING, "2": Place.ASIDE}
    assert kept.kept == {"aa": to_json(RoomClaim, OLD)}
    kept.die(next(one for one in kept.all if one.own is OLD))
    kept.pass_s(5.0)
    assert kept.all[0].place is Place.HOLDING
    assert kept.kept == {"aa": to_json(RoomClaim, TWIN)}


def test_without_its_own_claim_given_back_it_never_speaks() -> None:
    claims = Claims(OLD)
    claims.begin(0.0)
    assert claims.tells(0.0)
    assert claims.look(60.0) is Place.LISTENING
    assert claims.deaf(60.0) and not claims.deaf(DEAF_LISTENS * LISTEN_S)


def test_what_is_no_claim_takes_nobodys_place() -> None:
    kept = Kept()
    own = kept.join(YOUNG)
    kept.pass_s(5.0)
    for payload in (b"x", b"{}", to_json(RoomClaim, replace(OLD, room="South"))):
        assert own.came("aa", payload, False, kept.now_s)
    assert own.came("cc", to_json(RoomClaim, OLD), False, kept.now_s)
    kept.tell("bb", b"junk")
    kept.pass_s(1.5)
    assert own.place is Place.HOLDING
    assert kept.kept["bb"] == to_json(RoomClaim, YOUNG), "ours is told again"


def test_many_claims_are_not_all_remembered_but_the_lowest_is() -> None:
    own = Claims(YOUNG)
    own.begin(0.0)
    for number in range(50):
        claim = replace(YOUNG, instance=f"i{number:02d}", since_s=3000.0 - number * 30.0)
        own.came(claim.instance, to_json(RoomClaim, claim), False, 0.0)
    assert len(own.others) == MOST_OTHERS
    assert own.holder is not None and own.holder.instance == "i49"


def test_a_new_connection_hears_the_others_anew() -> None:
    own = Claims(YOUNG)
    own.begin(0.0)
    own.came("aa", to_json(RoomClaim, OLD), True, 0.0)
    assert own.look(1.0) is Place.ASIDE
    own.begin(10.0)
    assert own.look(10.0) is Place.LISTENING


def test_with_each_connection_our_own_claim_must_come_back_and_is_not_there_before() -> None:
    own = Claims(YOUNG)
    own.begin(0.0)
    own.came("bb", to_json(RoomClaim, YOUNG), False, 0.0)
    assert own.look(LISTEN_S) is Place.HOLDING
    own.begin(10.0)
    assert own.look(10.0 + LISTEN_S) is Place.LISTENING
    own.came("aa", to_json(RoomClaim, OLD), True, 20.0)
    assert own.look(20.0) is Place.ASIDE
    assert own.empties() == [], "it was not told on this connection"
    own.came("aa", b"", False, 30.0)
    assert own.look(30.0) is Place.LISTENING and own.tells(30.0)
    assert own.look(60.0) is Place.LISTENING
    own.came("bb", to_json(RoomClaim, YOUNG), False, 60.0)
    assert own.look(60.0) is Place.HOLDING


def test_what_stands_in_the_place_of_our_claim_is_answered_within_a_second() -> None:
    """Junk, a claim of another name, a twin's, nothing: ours is told again, but no faster."""
    other_room = to_json(RoomClaim, replace(OLD, room="South"))
    for payload in (b"junk", other_room, to_json(RoomClaim, TWIN), b""):
        own = Claims(OLD)
        own.begin(0.0)
        assert own.tells(0.0) and not own.tells(0.9)
        own.came("aa", to_json(RoomClaim, OLD), False, 0.1)
        own.came("aa", payload, False, 0.2)
        assert not own.tells(0.9) and own.tells(1.0)
        assert not own.tells(1.1 + LISTEN_S) and own.tells(1.0 + KEEPALIVE_S)


def test_a_claim_that_others_took_away_is_not_taken_away_again() -> None:
    for gone in (b"", to_json(RoomClaim, TWIN)):
        own = Claims(YOUNG)
        own.begin(0.0)
        own.came("bb", to_json(RoomClaim, YOUNG), False, 0.0)
        own.came("bb", gone.replace(b'"aa"', b'"bb"'), False, 0.5)
        own.came("aa", to_json(RoomClaim, OLD), False, 1.0)
        assert own.look(1.0) is Place.ASIDE
        assert own.empties() == []


def test_only_who_listens_and_hears_nothing_is_deaf() -> None:
    own = Claims(OLD)
    own.begin(0.0)
    own.came("aa", to_json(RoomClaim, OLD), False, 0.0)
    assert not own.deaf(60.0)
    own.look(60.0)
    assert own.place is Place.HOLDING and not own.deaf(120.0)
    aside = Claims(YOUNG)
    aside.begin(0.0)
    aside.came("aa", to_json(RoomClaim, OLD), True, 0.0)
    assert aside.look(0.0) is Place.ASIDE and not aside.deaf(60.0)


def test_who_stands_aside_takes_its_claim_away_once() -> None:
    own = Claims(YOUNG)
    own.begin(0.0)
    own.came("bb", to_json(RoomClaim, YOUNG), False, 0.0)
    assert own.empties() == []
    own.came("aa", to_json(RoomClaim, OLD), False, 1.0)
    own.look(1.0)
    assert (own.empties(), own.empties()) == (["bb"], [])


def test_once_another_is_gone_the_room_is_listened_to_anew() -> None:
    """It may have spoken in the room's name before it knew of us."""
    own, ours, theirs = Claims(OLD), to_json(RoomClaim, OLD), to_json(RoomClaim, YOUNG)
    own.begin(0.0)
    own.came("aa", ours, False, 0.0)
    own.came("bb", theirs, True, 0.0)
    own.came("bb", b"", False, 1.0)
    assert own.look(LISTEN_S) is Place.HOLDING, "what went before we spoke"
    now_s = 10.0
    for stays_s in (1.0, INTERVALS * KEEPALIVE_S):
        gone_s = now_s + stays_s
        own.came("bb", theirs, False, now_s)
        assert own.look(now_s) is Place.HOLDING
        if stays_s == 1.0:
            own.came("bb", b"", False, gone_s)
        assert own.look(gone_s) is Place.LISTENING
        assert own.tells(gone_s), "and it must hear itself"
        assert own.look(gone_s + LISTEN_S) is Place.LISTENING
        own.came("aa", ours, False, gone_s)
        now_s = gone_s + LISTEN_S
        assert own.look(now_s) is Place.HOLDING
        assert own.look(now_s) is Place.HOLDING
