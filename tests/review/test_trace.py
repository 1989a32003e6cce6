"""Traces on an invented season: both causes are named, and seasons without one stay silent."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.review.exact import Table
from monitor.review.records import CONTAMINATED_SURELY, HEALTHY, UNKNOWN, BagRecord
from monitor.review.trace import ORDER, trace
from monitor.review.trace_words import trace_lines
from tests.readme_examples import missing
from tests.review.season import BAD_CORNER, BAD_LOAD_SESSION, bad_jar, load, season

CAUSES = {("spawn lot", bad_jar()), ("part of load", f"{load(BAD_LOAD_SESSION)}, {BAD_CORNER}")}


def bag(name: str, lost: bool = False, **said: object) -> BagRecord:
    """A bag of jar J1, session S1, unless said otherwise."""
    end = CONTAMINATED_SURELY if lost else HEALTHY
    origin = {"spawn_lot": "J1", "session": "S1", "outcome": end, "standing": False} | said
    made = BagRecord(name, "QL-1", "GO-12", "", 0.0, 2.3)
    return replace(made, **origin)  # type: ignore[arg-type]


def test_trace_names_the_bad_jar_and_the_bad_corner_and_little_else() -> None:
    """In at least 11 of 12 seasons both, and nothing beside them that a cause explains."""
    both = 0
    for seed in range(12):
        found = trace(season(seed)).findings
        both += {name for one in found for name in one.group.names} >= CAUSES
    assert both >= 11


def test_trace_sets_aside_what_the_bad_jar_explains() -> None:
    """The jar's session and parent lost many bags too, but none but the jar's."""
    found = trace(season(1))
    names = {(one.factor, one.level) for one in found.findings}
    assert names == CAUSES
    aside = {name for one in found.set_aside for name in one.group.names}
    assert ("session", "S7") in aside
    assert all(one.explained_by is not None for one in found.set_aside)


def test_the_trace_in_the_readme_is_told_so() -> None:
    assert missing("Trace", "\n".join(trace_lines(trace(season(1))))) == []


def test_trace_finds_nothing_in_seasons_without_a_cause() -> None:
    """200 seasons of background loss only: at most 5 in a hundred give any finding."""
    false = sum(bool(trace(season(seed, causes=False)).findings) for seed in range(200))
    assert false <= 10


def test_counts_are_those_of_the_words() -> None:
    """7 of 8 of one jar against 3 of 112 others."""
    bags = [bag(f"a{i}", lost=i < 7, spawn_lot="J4", session="") for i in range(8)]
    bags += [bag(f"b{i}", lost=i < 3, spawn_lot=f"K{i % 14}", session="") for i in range(112)]
    (found,) = trace(bags).findings
    assert (found.factor, found.level, found.table) == ("spawn lot", "J4", Table(7, 1, 3, 109))
    assert found.chance < found.adjusted < 1e-5
    assert found.odds_low > 10


def test_the_same_bags_under_two_names_are_said_to_be_one() -> None:
    """A jar used up in one load: no data can tell jar from load."""
    bags = [bag(f"a{i}", lost=i < 6, spawn_lot="J4", load="L9") for i in range(8)]
    bags += [bag(f"b{i}", lost=i < 2, load="L8") for i in range(60)]
    (found,) = trace(bags).findings
    assert set(found.group.names) >= {("spawn lot", "J4"), ("load", "L9")}


def test_two_groups_that_nearly_coincide_are_not_told_apart() -> None:
    """All lost bags are of jar J4 and person Tom, who made one bag more."""
    bags = [bag(f"a{i}", lost=i < 6, spawn_lot="J4", person="Tom") for i in range(8)]
    bags += [bag("x", spawn_lot="J5", person="Tom")]
    bags += [bag(f"b{i}", person="Ida") for i in range(60)]
    (found,) = trace(bags).findings
    assert found.factor == "spawn lot"
    assert [group.names[0] for group in found.not_told_from] == [("person", "Tom")]


def test_a_run_in_the_order_of_inoculation_is_found_without_any_jar() -> None:
    """Six bags made one after another are lost among forty of one jar."""
    bags = [
        bag(f"b{i:02d}", lost=12 <= i < 18, sequence=i + 1, spawn_lot=f"J{i % 5}")
        for i in range(40)
    ]
    bags += [bag(f"c{i:02d}", session="S2", sequence=i + 1) for i in range(40)]
    (found,) = trace(bags).findings
    assert (found.factor, found.level) == (ORDER, "b12 to b17 of session S1")
    assert found.lost == tuple(f"b{i}" for i in range(12, 18))


def test_sisters_that_stand_get_a_risk_that_learns_from_the_jar() -> None:
    """Seven of eight lost and four standing: high, wide, and all four may go."""
    bags = [bag(f"a{i}", lost=i < 7, spawn_lot="J4") for i in range(8)]
    bags += [bag(f"s{i}", spawn_lot="J4", outcome=UNKNOWN, standing=True) for i in range(4)]
    bags += [bag(f"b{i}", lost=i < 3, spawn_lot=f"K{i % 14}") for i in range(112)]
    (found,) = trace(bags).findings
    assert found.standing == ("s0", "s1", "s2", "s3")
    assert found.risk is not None
    assert 0.3 < found.risk.low < found.risk.mean < found.risk.high < 0.98
    assert found.risk.most_lost == 4


def test_alarmed_bags_count_until_somebody_says_what_became_of_them() -> None:
    """A false alarm whose bag came through is no loss."""
    bags = [bag(f"a{i}", alarmed=True, outcome=UNKNOWN, spawn_lot="J4") for i in range(5)]
    bags += [bag(f"b{i}", alarmed=i < 3) for i in range(60)]
    assert trace(bags).lost == ("a0", "a1", "a2", "a3", "a4")


def test_asked_bags_take_the_place_of_the_lost_ones_and_unknown_ones_are_refused() -> None:
    """The grower may ask what any bags share."""
    bags = [bag(f"a{i}", shelf=4, rack="R1") for i in range(5)]
    bags += [bag(f"b{i}", lost=i < 9, shelf=1, rack="R1") for i in range(60)]
    found = trace(bags, asked=[f"a{i}" for i in range(5)]).findings
    assert ("shelf", "R1/4") in found[0].group.names
    with pytest.raises(ValueError, match="no record of z9"):
        trace(bags, asked=["z9"])
