"""A lot over rooms: chances against other programs, reasons by example, cost and power by lot."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.multitest import multipletests

from monitor.farm.lot_nouns import FarmLot, LotReason, RoomLots, Side
from monitor.farm.lot_tables import compared
from monitor.farm.lots import LEVEL, MOST_CALLED, MOST_LOTS, _holm, lots_over_rooms
from monitor.farm.words import lot_caution, lot_claim, lot_do, lot_evidence
from monitor.room_summary import LotSummary
from tests.farm.samples import lot
from tests.farm.simulated import BAD_LOTS, NULLS, ever, shares


def farm(**rooms: list[LotSummary]) -> dict[str, FarmLot]:
    """Lots in two rooms by their names."""
    found = lots_over_rooms(RoomLots(name, tuple(lots)) for name, lots in rooms.items())
    return {one.spawn_lot: one for one in found.lots}


def bad_lot(warm: int = 0, cold: int = 0) -> dict[str, FarmLot]:
    return farm(
        North=[lot("L-7", 9, warm, cold), lot("L-1", 30, 1)],
        South=[lot("L-7", 8, max(warm - 1, 0), max(cold - 1, 0)), lot("L-2", 30)],
    )


def test_a_lot_with_called_bags_in_two_rooms_is_one_thing_said_once() -> None:
    """The sentence names rooms, counts and what to do, and no cause."""
    told = bad_lot(warm=4)["L-7"]
    assert told.reason is LotReason.CALLED and told.bad and told.by_room
    assert [one.room for one in told.where] == ["North", "South"]
    assert lot_claim(told) == "lot L-7 of GO-12 is warmer than the other lots in 2 rooms"
    evidence = lot_evidence(told, "C")
    assert evidence.startswith(
        "4 of 9 bags in North, 3 of 8 bags in South; 1 of 60 bags of other lots in the same rooms."
    )
    assert "0.2 °C above their cohorts" in evidence
    assert "0.5 °F above" in lot_evidence(told, "F")
    assert lot_do(told).startswith("Hold the lot")
    assert lot_caution(told) == ""


def test_bags_that_stay_cold_count_on_their_own_side() -> None:
    told = bad_lot(cold=5)["L-7"]
    assert (told.reason, told.side) == (LotReason.CALLED, Side.COLD)
    assert "colder" in lot_claim(told) and "grow" in lot_do(told)


@pytest.mark.parametrize(
    ("north", "south", "reason"),
    [
        ([lot("L-7", 9, 6), lot("L-1", 30)], [lot("L-7", 8), lot("L-2", 30)], LotReason.ONE_ROOM),
        ([lot("L-7", 9, 3), lot("L-1", 9, 3)], [lot("L-7", 9, 2), lot("L-1", 9, 2)],
         LotReason.LIKE_OTHERS),
        ([lot("L-7", 9), lot("L-1", 9)], [lot("L-7", 9)], LotReason.LIKE_OTHERS),
        ([lot("L-7", 1, 1), lot("L-1", 2)], [lot("L-7", 1, 1)], LotReason.TOO_FEW),
        ([lot("L-7", 9, 6)], [lot("L-7", 8, 6)], LotReason.NO_OTHERS),
        ([lot("L-7", 9, 6), lot("L-1", 30, 0, 0, "AM-3")], [lot("L-7", 8, 6)],
         LotReason.NO_OTHERS),
        ([lot("L-7", 500, 300), lot("L-1", 500)], [lot("L-7", 500, 300)], LotReason.TOO_MANY),
    ],
)  # fmt: skip
def test_what_is_no_lot_bad_in_two_rooms_has_its_reason(
    north: list[LotSummary], south: list[LotSummary], reason: LotReason
) -> None:
    told = farm(North=north, South=south)["L-7"]
    assert told.reason is reason
    assert not told.bad and lot_do(told) == ""
    assert lot_evidence(told, "C") and lot_claim(told).startswith("lot L-7 of GO-12")


def test_a_bad_room_is_not_taken_for_a_bad_lot() -> None:
    """Every lot of North is called; pooled over rooms the lot there would look bad."""
    bad_room = [lot("L-7", 12, 6), lot("L-1", 12, 6), lot("L-2", 12, 6)]
    calm = [lot("L-7", 12, 1), lot("L-3", 60, 1), lot("L-4", 60, 1)]
    told = farm(North=bad_room, South=calm)["L-7"]
    pooled = scipy.stats.fisher_exact([[7, 17], [14, 130]], alternative="greater").pvalue
    assert pooled < LEVEL
    assert told.by_room and told.reason is LotReason.LIKE_OTHERS


def test_where_no_room_holds_other_lots_this_is_said() -> None:
    told = farm(North=[lot("L-7", 9, 4)], South=[lot("L-7", 8, 3)], East=[lot("L-1", 60, 1)])["L-7"]
    assert told.reason is LotReason.CALLED and not told.by_room
    assert "it may be the rooms" in lot_caution(told)


def test_lot_apart_in_two_rooms_needs_no_called_bag() -> None:
    apart = replace(lot("L-7", 9), lot_alarm=True)
    told = farm(North=[apart], South=[apart], East=[lot("L-7", 9)])["L-7"]
    assert told.reason is LotReason.APART and told.bad
    assert [one.room for one in told.where] == ["North", "South"]
    assert lot_claim(told) == "lot L-7 of GO-12 stands apart in 2 rooms"
    assert lot_evidence(told, "C").startswith("`lot apart` stands in North and South.")
    assert "go along its bags" in lot_do(told)


def test_apart_in_one_room_and_called_in_another_is_bad_in_two() -> None:
    """A room that calls the lot as a whole holds back the alarms of its bags."""
    apart = replace(lot("L-7", 9), lot_alarm=True)
    told = farm(North=[apart, lot("L-1", 30)], South=[lot("L-7", 8, 3), lot("L-2", 30)])["L-7"]
    assert told.reason is LotReason.APART
    assert [one.room for one in told.where] == ["South", "North"]
    evidence = lot_evidence(told, "C")
    assert evidence.startswith("`lot apart` stands in North. 3 of 8 bags in South,")
    calm = farm(North=[apart, lot("L-1", 30)], South=[lot("L-7", 8), lot("L-2", 30)])["L-7"]
    assert not calm.bad


def test_spaces_and_capitals_don_t_part_a_lot_and_no_lot_is_none() -> None:
    found = farm(
        North=[lot("L-7", 9, 4), lot("", 30)],
        South=[lot(" l-7", 8, 3, strain="go-12"), lot("", 30, 1)],
    )
    assert list(found) == ["L-7"]
    assert found["L-7"].bad
    assert found["L-7"].others == 60


def test_sessions_of_a_lot_in_one_room_are_one_share() -> None:
    found = farm(North=[lot("L-7", 4, 2), lot("L-7", 5, 2)], South=[lot("L-7", 8, 0)])
    assert {one.room: (one.bags, one.warm) for one in found["L-7"].shares} == {
        "North": (9, 4),
        "South": (8, 0),
    }


def test_bags_that_could_not_be_called_count_for_nothing() -> None:
    """Only a bag with an excess can be called; one that is called counts in any case."""
    half = replace(lot("L-7", 20, 2), judged=8)
    unheard = replace(lot("L-7", 20, 3), judged=1)
    shares = farm(North=[half], South=[unheard])["L-7"].shares
    assert {one.room: one.of for one in shares} == {"North": 8, "South": 3}


def test_other_lots_in_one_room_only_don_t_make_it_a_comparison_within_rooms() -> None:
    """What South holds would not count at all."""
    made = compared({"N": (5, 9), "S": (3, 8)}, {"N": (0, 30)}, LEVEL)
    assert not made.by_room
    told = farm(North=[lot("L-7", 9, 5), lot("L-1", 30)], South=[lot("L-7", 8, 3)])["L-7"]
    assert told.reason is LotReason.CALLED


def test_a_room_not_heard_counts_as_last_heard_and_is_named() -> None:
    rooms = [
        RoomLots("North", (lot("L-7", 9, 4), lot("L-1", 30, 1)), heard=False),
        RoomLots("South", (lot("L-7", 8, 3), lot("L-2", 30))),
    ]
    (told,) = lots_over_rooms(rooms).bad
    assert lot_caution(told) == "As last heard: North."


def test_pooled_chance_is_fishers() -> None:
    """scipy 1.x, fisher_exact; least and rest from the hypergeometric distribution."""
    made = compared({"N": (4, 9), "S": (3, 8)}, {"E": (1, 60)}, LEVEL)
    assert not made.by_room
    fisher = scipy.stats.fisher_exact([[7, 10], [1, 59]], alternative="greater").pvalue
    assert made.chance == pytest.approx(fisher, rel=1e-9)
    assert made.least == pytest.approx(scipy.stats.hypergeom(77, 17, 8).pmf(8), rel=1e-9)
    rest = scipy.stats.fisher_exact([[3, 5], [1, 59]], alternative="greater").pvalue
    assert made.rest == pytest.approx(rest, rel=1e-9)


def test_chance_within_rooms_is_the_tail_of_the_sum_of_hypergeometrics() -> None:
    """numpy convolves what scipy gives for each room."""
    lots = {"N": (4, 9), "S": (3, 8), "E": (0, 5)}
    others = {"N": (1, 30), "S": (0, 30), "E": (2, 12), "W": (3, 90)}
    made = compared(lots, others, LEVEL)
    assert made.by_room and made.others == (3, 72)
    whole = np.ones(1)
    for room, (called, of) in lots.items():
        total = of + others[room][1]
        lost = called + others[room][0]
        law = scipy.stats.hypergeom(total, of, lost)
        whole = np.convolve(whole, law.pmf(np.arange(lost + 1)))
    assert made.chance == pytest.approx(whole[7:].sum(), rel=1e-9)


def test_allowance_for_many_lots_is_holms() -> None:
    """statsmodels' multipletests."""
    chances = [0.2, 0.0004, 0.03, 0.03, 0.9, 0.011, 0.0001]
    theirs = multipletests(chances, method="holm")[1]
    assert _holm(chances) == pytest.approx(list(theirs))
    assert _holm([]) == []


@pytest.mark.parametrize("name", NULLS)
def test_where_no_lot_is_bad_few_farms_are_told_one(name: str) -> None:
    """Two farms in a hundred at most, here of 300 from fixed seeds."""
    false, _ = shares(NULLS[name], 300)
    assert false <= 0.02


def test_to_look_each_day_does_not_make_many_false_ones() -> None:
    """Where the chance at one look is the highest of those above."""
    assert ever(NULLS["20 lots in 6 rooms, 3 %"], 40, looks=10) <= 0.1


def test_bad_lots_are_found_the_more_the_larger_they_are() -> None:
    found = {name: shares(design, 100)[1] for name, design in BAD_LOTS.items()}
    assert found["50% of 16 bags in each of 2 rooms"] >= 0.99
    assert found["50% of 8 bags in each of 2 rooms"] >= 0.8
    assert 0.4 <= found["35% of 8 bags in each of 2 rooms"] <= 0.8
    assert found["20% of 4 bags in each of 2 rooms"] <= 0.1


def test_counts_that_no_room_has_neither_fail_nor_take_long() -> None:
    """From a message that fits the schema: whole numbers without end, and 80 lots in 200 rooms."""
    huge = LotSummary("L-7", "GO-12", "S1", 10**40, 10**60, 0, 0, 10**50, 10**40, 1e308, False)
    told = farm(North=[huge, huge], South=[huge])["L-7"]
    assert told.reason is LotReason.TOO_MANY
    assert told.mean_excess_k is None or math.isfinite(told.mean_excess_k)
    many = tuple(lot(f"L-{one}", 9, one % 2) for one in range(80))
    found = lots_over_rooms(RoomLots(f"R{room}", many) for room in range(200))
    assert len(found.lots) == 80
    odd = tuple(lot(f"L-{one}", 9) for one in range(MOST_LOTS + 20))
    wide = lots_over_rooms([RoomLots("N", odd), RoomLots("S", odd)])
    assert (len(wide.lots), wide.left_out) == (MOST_LOTS, 20)
    called = lot("L-7", 450, MOST_CALLED // 2)
    slow = farm(North=[called, lot("L-1", 4000)], South=[called, lot("L-2", 4000)])["L-7"]
    assert slow.reason is LotReason.CALLED
