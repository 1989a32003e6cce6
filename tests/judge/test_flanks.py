"""A bag beside a hot one reads warm too: what of its warmth is its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.judge import flanks
from monitor.judge.flanks import MOST_LENT, USUALLY_LENT, lent_k, usually_lent_k
from monitor.judge.history import BY_HAND, BY_PROBE, History
from monitor.judge.neighbours import Places
from monitor.judge.strain import Strain
from monitor.judge.verdicts import Standing, VerdictParams, weigh_bag
from monitor.terms import Reason
from monitor.thermal.film import open_view_in_row
from monitor.values import Bag
from tests.judge.test_evidence import book, cohort, frames, ramp, run

CALM = Standing(
    at_s=0.0, hot=-3.0, stalled=-3.0, hot_before=(), stalled_before=(),
    hottest=0.0, added_k=0.1, lost_k=0.0,
    onset_h=0.0, lost_h=0.0, strength=1.0, shift_h=0.0, offset_k=0.0, fit_sd_k=0.1,
    warmth_k=1.0, slope_k_per_h=0.0, row_h=0.0, by_hand=False, reading_k=0.05,
    rate_k_per_h=0.0, rows=40, peers=5, rising_h=0.0, lent_k=0.0, around_k=0.0, drift_k=0.0,
)  # fmt: skip
HOT = replace(CALM, hot=20.0, added_k=3.0)


def bag(code: str, slot: int | None, shelf: int = 2) -> Bag:
    return Bag(code, "batch", "GO-12", "L1", 0.0, 2.4, "R1", shelf, slot)


BAGS = {one.bag: one for one in (bag("B1", 1), bag("B2", 4), bag("B3", 7), bag("B4", 2, shelf=3))}


def test_only_a_surely_hot_bag_beside_it_on_its_shelf_lends_warmth() -> None:
    beside, far = {"B1": HOT}, {"B4": HOT}
    places = Places(BAGS)
    beyond = MOST_LENT - 0.5 * USUALLY_LENT
    assert lent_k(BAGS["B2"], places, beside) == pytest.approx(3.0 * beyond)
    assert lent_k(BAGS["B2"], places, far) == 0.0
    assert lent_k(BAGS["B2"], places, {"B1": replace(HOT, hot=2.0)}) == 0.0
    assert lent_k(BAGS["B3"], places, beside) == 0.0  # B2 stands between
    assert lent_k(BAGS["B2"], places, {"B2": HOT}) == 0.0  # nobody lends to itself
    nowhere = bag("B9", None)
    assert lent_k(nowhere, Places({**BAGS, "B9": nowhere}), beside) == 0.0


@pytest.mark.parametrize(
    ("added_k", "own_k"), [(0.4, 0.0), (0.6, 0.0), (0.75, 0.45), (0.9, 0.9), (2.0, 2.0)]
)
def test_what_a_neighbour_may_explain_is_no_heat_of_its_own(added_k: float, own_k: float) -> None:
    standing = replace(CALM, hot=9.0, added_k=added_k, lent_k=0.6)
    strain = Strain(name="GO-12", least_excess_k=0.3)
    evidence = weigh_bag(BAGS["B2"], standing, False, strain, VerdictParams())
    assert evidence.excess_k == pytest.approx(own_k)
    called = own_k >= strain.least_excess_k - 1e-9
    assert evidence.reason is (Reason.ADDED_HEAT if called else Reason.BESIDE_HOT)


def test_no_less_than_physics_gives_is_taken_for_lent() -> None:
    """Radiation, at least 0.6 of what a film sheds, times the view of one touching equal cylinder:
    1/2 − 1/π (Hottel's crossed strings)."""
    one_neighbour = 1.0 - open_view_in_row(0.0, 0.18, 1)
    assert one_neighbour == pytest.approx(0.1817, abs=1e-4)
    assert 0.6 * one_neighbour < MOST_LENT < 1.0


def test_what_is_lent_is_kept_over_a_restart() -> None:
    standing = replace(CALM, lent_k=0.42)
    assert Standing.from_plain(standing.plain()) == standing


def test_a_bag_warmed_by_the_one_beside_it_is_called_only_where_it_stands_elsewhere() -> None:
    """Q03 and Q08 share a shelf with nobody between; a fifth of 4 K reaches Q08's surface."""
    bags = cohort(10)
    fault = ramp(100.0, 4.0)
    bags["Q03"] = replace(bags["Q03"], more=fault)
    bags["Q08"] = replace(bags["Q08"], more=lambda age_h: 0.2 * fault(age_h))
    made, beside = frames(bags, 180), book(list(bags))
    done = run(made, beside)
    assert done.called("Q03") is not None and done.called("Q08") is None
    assert any(hour["Q08"][1].reason is Reason.BESIDE_HOT for hour in done.hours)
    apart = {**beside, "Q08": replace(beside["Q08"], rack="R2")}
    assert run(made, apart).called("Q08") is not None


def test_what_bags_usually_lend_is_told_beyond_what_mates_have() -> None:
    """B2 stands between bags 1 and 4 K warm, B1 and B3 beside B2, nobody beside B4."""
    history = History(3600.0, 10, 2)
    warm = {"B1": 1.0, "B2": 2.0, "B3": 4.0, "B4": 9.0}
    history.append(1, {name: (warmth_k, BY_PROBE) for name, warmth_k in warm.items()})
    lent = usually_lent_k(history, ["B1", "B2", "B4"], BAGS, Places(BAGS))
    assert lent == pytest.approx(USUALLY_LENT * np.array([[0.0, 1.5, -1.0]]))


def test_what_a_walk_read_of_the_lender_is_taken_from_its_fit() -> None:
    """A hand reading errs by more than a bag lends."""
    history = History(3600.0, 10, 2)
    history.append(1, {"B1": (5.0, BY_HAND), "B2": (2.0, BY_PROBE), "B4": (0.0, BY_PROBE)})
    members, places = ["B2", "B4"], Places(BAGS)
    assert not usually_lent_k(history, members, BAGS, places).any()
    history.predicted[0, history.columns(["B1"])] = 3.0
    lent = usually_lent_k(history, members, BAGS, places)
    assert lent == pytest.approx(USUALLY_LENT * np.array([[0.75, -0.75]]))


def standing_apart(plan: dict[str, Bag], *together: str) -> dict[str, Bag]:
    """Each bag on a rack of its own, but for some side by side on one."""
    return {
        name: replace(one, rack="R9" if name in together else name, shelf=1)
        for name, one in plan.items()
    }


@pytest.mark.parametrize("seed", [1, 2, 4, 6])
def test_a_bag_beside_a_sound_one_of_a_faster_strain_at_its_peak_is_not_hot(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A tenth of 4 K, while its own cohort is still cool: called if nobody knows whose it is."""
    early = {f"F{n:02d}": one for n, one in enumerate(cohort(8, seed + 50).values())}
    fast = {name: replace(one, peak_k=4.0, peak_h=one.peak_h - 20.0) for name, one in early.items()}
    slow = {
        name: replace(one, peak_h=one.peak_h + 60.0, width_h=22.0)
        for name, one in cohort(8, seed).items()
    }
    beside = fast["F00"]
    slow["Q03"] = replace(slow["Q03"], more=lambda age_h: 0.1 * beside.warmth_k(age_h))
    plan = book(list(slow), "SH-7", "L2") | book(list(fast), "AM-3", "L1")
    plan = standing_apart(plan, "Q03", "F00")
    made = frames(slow | fast, 100, seed=seed)
    assert run(made, plan).called("Q03") is None
    monkeypatch.setattr(flanks, "USUALLY_LENT", 0.0)
    assert run(made, plan).called("Q03") is not None


def test_what_is_foretold_of_a_bag_goes_on_with_what_it_is_lent() -> None:
    """Beside a bag that stands 9 K warm in a warm place; else each new row would surprise."""
    bags = cohort(8)
    bags["Q00"] = replace(bags["Q00"], offset_k=9.0)
    plan = standing_apart(book(list(bags)), "Q00", "Q03")
    history = run(frames(bags, 40), plan).judge.state()["history"]
    column = history["bags"].index("Q03")
    assert history["ahead"][0][column] == pytest.approx(history["predicted"][-1][column], abs=0.1)


def test_neighbours_go_by_slot_whatever_the_order_of_the_book() -> None:
    turned = Places(dict(reversed(BAGS.items())))
    assert turned.either_side(BAGS["B2"]) == ("B1", "B3")
    assert turned.either_side(BAGS["B1"]) == ("B2",)
