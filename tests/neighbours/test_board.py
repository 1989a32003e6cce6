"""What goes out of what a room shows: what changed, the newest only, few at once."""

from __future__ import annotations

from collections.abc import Mapping

from monitor.neighbours.board import MOST_IN_FLIGHT, MOST_PACKS, Board, Post


class Wire:
    """A broker that takes what the board hands out."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.numbers = 0
        self.moving: list[tuple[int, Post]] = []
        self.kept: dict[str, bytes] = {}
        self.log: list[str] = []

    def send(self) -> None:
        while (post := self.board.next()) is not None:
            self.numbers += 1
            self.board.sent(self.numbers, post)
            self.moving.append((self.numbers, post))

    def answer(self, refusal: str = "") -> None:
        number, post = self.moving.pop(0)
        self.log.append(post.topic)
        if post.keep and not refusal:
            self.kept[post.topic] = post.payload
            if not post.payload:
                del self.kept[post.topic]
        self.board.answered(number, refusal)

    def all(self) -> list[str]:
        self.log = []
        self.send()
        while self.moving:
            self.answer()
            self.send()
        return self.log


def begun(messages: Mapping[str, bytes]) -> tuple[Board, Wire]:
    board = Board()
    board.show(messages)
    board.begin()
    return board, Wire(board)


def test_only_what_changed_goes_out_and_what_is_gone_is_emptied() -> None:
    board, wire = begun({"summary": b"1", "a/1": b"x", "a/2": b"y"})
    assert wire.all() == ["summary", "a/1", "a/2"]
    board.show({"summary": b"2", "a/1": b"x"})
    assert wire.all() == ["summary", "a/2"]
    assert wire.kept == {"summary": b"2", "a/1": b"x"}
    board.show({"summary": b"2", "a/1": b"x"})
    assert wire.all() == []
    assert board.waiting == 0


def test_what_the_broker_holds_from_before_is_emptied_or_left_alone() -> None:
    board = Board()
    wire = Wire(board)
    board.show({"a": b"1", "b": b"2"})
    for topic, payload in {"a": b"1", "b": b"0", "old": b"9"}.items():
        board.found(topic, payload)
        wire.kept[topic] = payload
    assert board.next() is None, "nothing before all is found"
    board.begin()
    assert wire.all() == ["b", "old"]
    assert wire.kept == {"a": b"1", "b": b"2"}


def test_before_the_first_close_nothing_is_emptied() -> None:
    board = Board()
    board.found("a", b"1")
    board.begin()
    assert board.next() is None
    board.show({"b": b"1"})
    assert Wire(board).all() == ["b", "a"]


def test_twenty_are_on_their_way_and_of_a_topic_one_so_that_the_newest_stays() -> None:
    board, wire = begun({f"b/{n}": b"1" for n in range(1000)})
    wire.send()
    assert len(wire.moving) == MOST_IN_FLIGHT
    for text in (b"2", b"3"):
        board.show({f"b/{n}": text for n in range(1000)})
    assert board.waiting == 1000 + MOST_IN_FLIGHT
    wire.send()
    assert len(wire.moving) == MOST_IN_FLIGHT
    for _ in range(MOST_IN_FLIGHT):
        wire.answer()
    wire.all()
    assert set(wire.kept.values()) == {b"3"} and len(wire.kept) == 1000
    assert wire.numbers == 1000 + MOST_IN_FLIGHT, "the second text went nowhere"


def test_what_comes_and_goes_while_on_its_way_is_emptied() -> None:
    board, wire = begun({"a": b"1"})
    wire.send()
    board.show({})
    assert board.next() is None, "not before the first is answered"
    wire.all()
    assert wire.kept == {}


def test_a_message_that_is_refused_waits_for_the_next_show() -> None:
    board, wire = begun({"a": b"1"})
    wire.send()
    wire.answer("Not authorized")
    assert board.refused == {"a": "Not authorized"} and board.next() is None
    board.show({"a": b"1"})
    assert wire.all() == ["a"] and not board.refused


def test_a_lost_connection_forgets_what_was_on_its_way() -> None:
    board, wire = begun({"a": b"1", "b": b"1"})
    wire.send()
    number, _ = wire.moving[0]
    board.pack("senml", b"0")
    board.seek()
    assert board.next() is None and board.waiting == 0
    board.pack("senml", b"1")
    assert board.waiting == 0, "nobody takes a pack just now"
    board.answered(number, "")
    board.found("b", b"1")
    board.begin()
    assert Wire(board).all() == ["a"]


def test_packs_go_after_what_is_kept_each_once_the_newest_of_many() -> None:
    board, wire = begun({"a": b"1"})
    for n in range(MOST_PACKS + 5):
        board.pack("senml", b"%d" % n)
    wire.send()
    assert wire.moving[0][1].topic == "a"
    assert [post.payload for _, post in wire.moving[1:3]] == [b"5", b"6"]
    wire.all()
    assert wire.kept == {"a": b"1"} and board.waiting == 0


def test_what_is_to_stand_is_told_from_what_only_passes_by() -> None:
    board = Board()
    assert board.keeping, "nothing is known yet of what stands"
    board.begin()
    assert not board.keeping
    board.show({"a": b"1"})
    wire = Wire(board)
    assert board.keeping
    wire.send()
    assert board.keeping and board.waiting == 1
    board.pack("senml", b"1")
    assert board.waiting == 2
    wire.answer()
    assert not board.keeping and board.waiting == 1
    wire.send()
    assert not board.keeping and board.waiting == 1
    wire.answer()
    board.show({"a": b"2"})
    wire.send()
    wire.answer("Not authorized")
    assert board.keeping and board.waiting == 0
