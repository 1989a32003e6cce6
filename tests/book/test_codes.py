"""Codes: ranges, short forms, slips."""

from __future__ import annotations

import pytest

from monitor.book.codes import check_pattern, count_on, expand, resolve, shares, slips, suggestion
from monitor.book.places import Place, parse_place, racking
from monitor.errors import BookError

KNOWN = [f"GO12-{number:03d}" for number in range(17, 57)]


def test_a_range_stands_for_its_codes_and_keeps_their_width() -> None:
    """Forty bags in one word."""
    assert expand(["GO12-{017..056}"]) == KNOWN
    assert count_on("GO12-017", 40) == KNOWN


@pytest.mark.parametrize("words", [["A-{9..1}"], ["A-1", "A-1"], ["A-{1..9999}"]])
def test_a_range_that_cannot_be_is_refused(words: list[str]) -> None:
    with pytest.raises(BookError):
        expand(words)


@pytest.mark.parametrize(("typed", "code"), [("go12-017", "GO12-017"), ("17", "GO12-017")])
def test_a_code_may_be_short_or_in_small_letters(typed: str, code: str) -> None:
    """With gloves on."""
    assert resolve(typed, KNOWN) == code


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("GO12-071", "GO12-017"), ("G012-017", "GO12-017"), ("GO12_018", "GO12-018"), ("107", "017")],
)
def test_an_unknown_code_is_answered_with_the_one_meant(typed: str, meant: str) -> None:
    """Digits swapped, a letter for a digit, another dash."""
    with pytest.raises(BookError, match=meant):
        resolve(typed, KNOWN)


def test_a_short_code_that_fits_two_bags_asks_for_more() -> None:
    with pytest.raises(BookError, match="any of 2"):
        resolve("17", ["GO12-017", "SH7-017"])


@pytest.mark.parametrize(
    ("left", "right", "count"),
    [
        ("kitten", "sitting", 3),  # the usual example of Levenshtein's distance (from memory)
        ("CA", "ABC", 3),  # told apart from the full Damerau distance, 2 (Boytsov 2011)
        ("017", "071", 1),  # Damerau 1964: a swap of neighbours is one slip
        ("", "abc", 3),
    ],
)
def test_slips_count_as_published(left: str, right: str, count: int) -> None:
    assert slips(left, right) == count == slips(right, left)


def test_a_suggestion_is_only_made_for_what_comes_near() -> None:
    assert suggestion("HX5-999", KNOWN) == ""


@pytest.mark.parametrize("code", ["GO12-17", "GO12017", "go12-017", "GO12-0I7", "B17"])
def test_a_code_not_of_the_farms_pattern_is_refused(code: str) -> None:
    with pytest.raises(BookError, match="pattern"):
        check_pattern(code, r"GO12-\d{3}", KNOWN)


def test_shares_give_every_bag_one_jar_or_say_which_has_none() -> None:
    codes = KNOWN[:6]
    by_count = shares(["J4:2", "J5:4"], codes, "lot")
    assert by_count == ["J4"] * 2 + ["J5"] * 4
    assert shares(["J4:017..018", "J5:019..022"], codes, "lot") == by_count
    with pytest.raises(BookError, match="2 bags have no lot"):
        shares(["J4:4"], codes, "lot")
    with pytest.raises(BookError, match="J4 already"):
        shares(["J4:4", "J5:018..022"], codes, "lot")
    with pytest.raises(BookError, match="can't be read as a lot"):
        shares(["J4:²"], codes, "lot")


def test_racking_fills_slot_by_slot_then_shelf_then_rack() -> None:
    places = racking("R1/2..3/1..2,R2/1/1..9", 6)
    assert [str(place) for place in places] == [
        "R1/2/1", "R1/2/2", "R1/3/1", "R1/3/2", "R2/1/1", "R2/1/2",
    ]  # fmt: skip
    with pytest.raises(BookError, match="4 places for 5 bags"):
        racking("R1/2..3/1..2", 5)


@pytest.mark.parametrize("text", ["R1", "R1/top/2", "/1/2", "R1/2/3/4", ""])
def test_what_is_no_place_is_refused(text: str) -> None:
    with pytest.raises(BookError):
        parse_place(text)
    assert parse_place("R1/2/7") == Place("R1", 2, 7)
