"""The book's words become ends of bags; what it does not say, or says twice, is no end."""

from __future__ import annotations

import pytest

from monitor.review.outcomes import End, Ending, endings, strangers
from monitor.values import Bag, BookEntry

DAY_S = 86400.0
BAG = Bag("B1", "b", "GO-12", "lot", 0.0, 2.3, "R1", 1, 1)


def end_of(*entries: tuple[float, str, str], now_d: float = 60.0) -> Ending:
    """The end of a bag inoculated on day 0, by (day, event, detail)."""
    book = [BookEntry(day * DAY_S, "B1", event, detail) for day, event, detail in entries]
    return endings({"B1": BAG}, book, now_d * DAY_S, 30 * DAY_S)["B1"]


@pytest.mark.parametrize(
    ("entries", "end"),
    [
        ([(9, "outcome", "contaminated")], End.BAD),
        ([(9, "outcome", "maybe contaminated")], End.MAYBE),
        ([(9, "outcome", "healthy")], End.HEALTHY),
        ([(20, "full run", "")], End.HEALTHY),
        ([(20, "to fruiting", "")], End.HEALTHY),
        ([(9, "pulled", "surely green mould; smell sour")], End.BAD),
        ([(9, "pulled", "maybe yeast")], End.MAYBE),
        ([(9, "pulled", "surely torn bag")], End.OTHERWISE),
        ([(9, "pulled", "surely heat")], End.COOKED),
        ([(9, "pulled", "")], End.UNKNOWN),
        ([(9, "pulled", "maybe unknown")], End.UNKNOWN),
        ([(9, "outcome", "eaten by mice")], End.UNKNOWN),
        ([(9, "pulled", "maybe yeast"), (10, "outcome", "healthy")], End.HEALTHY),
        ([(9, "pulled", "maybe yeast"), (10, "outcome", "contaminated")], End.BAD),
        ([(3, "shaken", "")], End.UNKNOWN),
    ],
)
def test_the_books_words_become_an_end(entries: list[tuple[float, str, str]], end: End) -> None:
    assert end_of(*entries).end is end


def test_facts_of_a_pull_count_before_its_words() -> None:
    entry = BookEntry(9 * DAY_S, "B1", "pulled", "by Ida", {"cause": "pin mould", "sure": "surely"})
    assert endings({"B1": BAG}, [entry], 60 * DAY_S, 30 * DAY_S)["B1"].end is End.BAD


def test_a_bag_of_which_nothing_is_said_runs_on_until_its_longest_run_and_is_unknown_then() -> None:
    assert end_of(now_d=29).end is End.RUNNING
    assert end_of(now_d=31).end is End.UNKNOWN


@pytest.mark.parametrize(
    ("entries", "why"),
    [
        ([(9, "outcome", "healthy"), (10, "outcome", "contaminated")], "both as healthy and"),
        ([(9, "pulled", "surely yeast"), (10, "outcome", "healthy")], "pulled as surely"),
        ([(9, "outcome", "contaminated"), (30, "yield", "flush 1")], "`yield` is written after"),
        ([(-2, "outcome", "healthy")], "2.0 days before it was inoculated"),
    ],
)
def test_a_book_that_contradicts_itself_is_set_aside_and_says_why(
    entries: list[tuple[float, str, str]], why: str
) -> None:
    found = end_of(*entries)
    assert found.end is End.CONTRADICTED
    assert why in found.why


def test_when_it_was_found_and_when_it_left_are_kept_apart() -> None:
    """Isolated on day 8, back on day 9, pulled on day 12: it left on day 12."""
    found = end_of((8, "isolated", ""), (9, "returned", ""), (12, "pulled", "surely mites"))
    assert (found.found_s, found.left_s) == (12 * DAY_S, 12 * DAY_S)
    assert end_of((8, "isolated", ""), (12, "outcome", "contaminated")).left_s == 8 * DAY_S


def test_bags_the_book_does_not_have_are_named() -> None:
    assert strangers({"B1"}, [BookEntry(0.0, "B7", "outcome", "healthy")]) == ("B7",)
