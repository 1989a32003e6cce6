"""What is said over a line, on a clock that the test turns; the line is played by hand."""

from __future__ import annotations

from collections import deque
from dataclasses import replace

import pytest

from monitor.neighbours.board import MOST_IN_FLIGHT, Board
from monitor.neighbours.claims import LISTEN_S, LONGEST_LISTEN_S, Claims, Place
from monitor.neighbours.line import Answered, Came, Down, Granted, Up
from monitor.neighbours.talk import ANSWER_LIMIT_S, QUIET_S, CutOffError, Talk
from monitor.neighbours.topics import Topics
from monitor.room_messages import RoomClaim
from monitor.room_summary import VERSION, to_json

TOPICS = Topics()
CLAIM = RoomClaim(VERSION, "", "North", "aa", "1", 1000.0, "pi-1", 30.0)


class PlayedLine:
    """A line that notes what is asked of it."""

    def __init__(self) -> None:
        self.where = "barn.example:1883"
        self.overflowed = False
        self.found: deque[Came] = deque()
        self.sent: list[tuple[str, bytes, bool]] = []
        self.filters: set[str] = set()
        self.left = False

    def subscribe(self, filters: list[tuple[str, int]]) -> None:
        self.filters |= {one for one, _ in filters}

    def unsubscribe(self, filters: list[str]) -> None:
        self.filters -= set(filters)

    def publish(self, topic: str, payload: bytes, keep: bool) -> int:
        self.sent.append((topic, payload, keep))
        return len(self.sent)

    def next(self, limit_s: float) -> None:
        return None

    def leave(self) -> None:
        self.left = True


class Conversation:
    def __init__(self) -> None:
        self.line, self.board, self.claims = PlayedLine(), Board(), Claims(CLAIM)
        self.now_s = 100.0
        self.talk = Talk(self.line, TOPICS, self.claims, self.board, self.now_s)

    def turn(self, event: object = None, pass_s: float = 0.0) -> None:
        self.now_s += pass_s
        self.talk.turn(event, self.now_s)

    def begin(self, takes: int = MOST_IN_FLIGHT) -> None:
        """Accepted, subscribed, our claim given back and answered."""
        self.turn(Up(takes))
        self.turn(Granted(""))
        topic, payload, keep = self.line.sent[-1]
        assert topic == TOPICS.claim("North", "aa") and keep
        self.turn(Came(topic, payload, False))
        self.turn(Answered(len(self.line.sent), ""))


def test_it_listens_then_tells_and_asks_for_its_own_alarms_and_bags_no_more() -> None:
    one = Conversation()
    one.board.show({TOPICS.summary("North"): b"{}"})
    one.begin()
    assert TOPICS.summary("North") in one.line.filters
    assert not one.talk.settled and len(one.line.sent) == 1
    one.turn(pass_s=LISTEN_S)
    assert one.talk.settled and one.claims.place is Place.HOLDING
    assert one.line.filters == {"bagwatt/rooms/North/claim/+"}
    assert one.line.sent[-1] == (TOPICS.summary("North"), b"{}", True)


def test_it_listens_while_the_broker_still_tells_what_it_keeps_but_not_for_ever() -> None:
    one = Conversation()
    one.begin()
    while one.now_s < 100.0 + LISTEN_S + 1.0:
        one.line.found.append(Came(TOPICS.bag("North", "B-1"), b"1", True))
        one.turn(pass_s=QUIET_S / 2)
    assert one.claims.place is Place.LISTENING
    one.turn(pass_s=QUIET_S)
    assert one.claims.place is Place.HOLDING
    other = Conversation()
    other.begin()
    while other.claims.place is Place.LISTENING:
        other.line.found.append(Came(TOPICS.bag("North", "B-1"), b"1", True))
        other.turn(pass_s=QUIET_S / 2)
    assert other.now_s == pytest.approx(100.0 + LONGEST_LISTEN_S, abs=QUIET_S)


@pytest.mark.parametrize("takes", [1, 10, 65_535])
def test_no_more_are_on_their_way_than_the_broker_takes(takes: int) -> None:
    one = Conversation()
    one.board.show({TOPICS.bag("North", f"B-{n}"): b"1" for n in range(100)})
    one.begin(takes)
    one.turn(pass_s=LISTEN_S)
    moving = len(one.line.sent) - 1
    assert 1 <= moving <= min(takes, MOST_IN_FLIGHT)
    one.turn(Answered(len(one.line.sent), ""))
    assert len(one.line.sent) - 1 == moving + 1


def test_a_broker_that_never_answers_is_left() -> None:
    one = Conversation()
    one.turn(pass_s=ANSWER_LIMIT_S)
    with pytest.raises(CutOffError, match="does not answer"):
        one.turn(pass_s=0.1)


def test_a_broker_that_stops_answering_is_left() -> None:
    one = Conversation()
    one.begin()
    one.turn(pass_s=LISTEN_S)
    one.turn(pass_s=CLAIM.keepalive_s)  # the claim is told again, and not answered
    assert len(one.line.sent) == 2
    one.turn(pass_s=3 * CLAIM.keepalive_s)
    with pytest.raises(CutOffError, match="answered nothing for 9"):
        one.turn(pass_s=0.5)


def test_a_line_that_ends_or_is_flooded_is_left_with_what_ended_it() -> None:
    one = Conversation()
    with pytest.raises(CutOffError) as raised:
        one.turn(Down("answers: Not authorized", refused=True))
    assert raised.value.refused
    other = Conversation()
    other.begin()
    other.line.overflowed = True
    with pytest.raises(CutOffError, match="more than can be read"):
        other.turn()


def test_a_refused_subscription_is_told_until_it_is_granted() -> None:
    one = Conversation()
    one.turn(Up(20))
    one.turn(Granted("Not authorized"))
    problem = one.talk.problem(one.now_s)
    assert "refuses to tell of bagwatt/rooms: Not authorized" in problem
    one.turn(Granted(""))
    assert one.talk.problem(one.now_s) == ""


def test_a_goodbye_takes_the_claim_away_but_not_that_of_who_has_the_name() -> None:
    one = Conversation()
    one.begin()
    one.talk.goodbye(one.now_s)
    assert one.line.sent[-1] == (TOPICS.claim("North", "aa"), b"", True) and one.line.left
    fresh = Conversation()
    fresh.talk.goodbye(fresh.now_s)
    assert fresh.line.sent == [] and fresh.line.left


def test_a_claim_that_comes_before_the_subscription_is_answered_counts() -> None:
    """As brokers may do (MQTT 5, section 3.8.4)."""
    one = Conversation()
    older = replace(CLAIM, instance="bb", since_s=10.0)
    one.turn(Up(20))
    one.turn(Came(TOPICS.claim("North", "bb"), to_json(RoomClaim, older), True))
    one.turn(Granted(""))
    assert one.talk.settled and one.claims.holder == older
    assert one.line.sent == []


def test_what_another_told_in_our_name_is_put_right_once_it_is_gone() -> None:
    one = Conversation()
    one.board.show({TOPICS.summary("North"): b"ours"})
    one.begin()
    one.turn(pass_s=LISTEN_S)
    one.turn(Answered(len(one.line.sent), ""))
    theirs = TOPICS.claim("North", "bb")
    later = replace(CLAIM, instance="bb", since_s=2000.0)
    one.turn(Came(theirs, to_json(RoomClaim, later), False))
    one.turn(Came(theirs, b"", False))
    assert not one.talk.settled and TOPICS.summary("North") in one.line.filters
    one.line.found.append(Came(TOPICS.summary("North"), b"theirs", True))
    one.line.found.append(Came(TOPICS.bag("North", "B-9"), b"theirs", True))
    one.turn(Came(TOPICS.claim("North", "aa"), to_json(RoomClaim, CLAIM), False))
    one.turn(pass_s=LISTEN_S)
    assert one.line.sent[-2:] == [
        (TOPICS.summary("North"), b"ours", True),
        (TOPICS.bag("North", "B-9"), b"", True),
    ]
