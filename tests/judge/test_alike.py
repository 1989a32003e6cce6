"""What most bags of a cohort do alike beside the heat curve, and that nothing else is taken for it.

That a strain's heat may stand at its height for days is common practice, no source; the shapes
here are invented.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from monitor.judge import evidence
from monitor.judge.alike import alike_k
from monitor.judge.curve import Grid
from monitor.judge.evidence import Judge
from monitor.judge.looks import AlikeParams, Beliefs, Look, LookParams, Panel
from monitor.judge.panel import look
from monitor.judge.params import JudgeParams
from tests.judge.test_evidence import Grown, book, cohort, frames, ramp, run

BAGS, ROWS, ROW_H = 10, 60, 3.0
HOURS = ROW_H * np.arange(ROWS)
PARAMS = AlikeParams()
#: Nothing is taken for alike.
NOTHING = AlikeParams(least_k=math.inf)
SEEDS = (2, 8)


def held(bags: dict[str, Grown]) -> dict[str, Grown]:
    """The bags with their heat at its height for two days."""
    return {name: replace(bag, held_h=48.0) for name, bag in bags.items()}


def called(seed: int, judge: Judge | None = None) -> list[str]:
    """The bags called of twelve whose heat is held, Q03 with added heat from 110 h on."""
    bags = held(cohort(12, seed))
    bags["Q03"] = replace(bags["Q03"], more=ramp(110.0, 2.0))
    done = run(frames(bags, 220, seed), book(list(bags)), judge=judge)
    return [bag for bag in bags if done.called(bag) is not None]


def test_bags_whose_heat_is_held_alike_are_not_called_and_the_hot_one_among_them_is() -> None:
    """Of 22 sound bags 1 is called, 4 if it is read off once; if nothing is taken for alike, 19."""
    found = [called(seed) for seed in SEEDS]
    assert all("Q03" in bags for bags in found)
    assert sum(map(len, found)) - len(SEEDS) <= 2
    plain = JudgeParams(look=LookParams(alike=NOTHING))
    assert sum(len(called(seed, Judge(plain))) for seed in SEEDS) - len(SEEDS) >= 15


def test_what_is_alike_may_excuse_a_bag_and_accuses_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each look of a run beside the same look that takes nothing for alike: one bag does not hold
    its heat as its mates do, and would seem stalled; one peaks late, and would seem hot."""
    excused, nearer = 0, []

    def both(panel: Panel, grid: Grid, beliefs: Beliefs, params: LookParams) -> Look:
        nonlocal excused
        found = look(panel, grid, beliefs, params)
        plain = look(panel, grid, beliefs, replace(params, alike=NOTHING))
        assert (found.hot <= plain.hot).all() and (found.stalled <= plain.stalled).all()
        if (found.fit != plain.fit).any():
            excused += int((found.hot < plain.hot).sum())
            rows = slice(0, len(panel.hours))
            off_k = [np.nanstd(panel.excess - one.fit[rows]) for one in (found, plain)]
            nearer.append(off_k[0] < off_k[1])
        return found

    monkeypatch.setattr(evidence, "look", both)
    bags = held(cohort(12, 2))
    bags["Q04"] = cohort(12, 2)["Q04"]
    bags["Q05"] = replace(bags["Q05"], peak_h=bags["Q05"].peak_h + 24.0)
    run(frames(bags, 200, 2), book(list(bags)))
    assert excused > 100
    assert np.mean(nearer) > 0.9


def panel(counts_until_h: float = math.inf) -> Panel:
    """Rows of ten bags; what is read of Q00 tells its mates nothing from `counts_until_h` on."""
    counts = np.full(BAGS, math.inf)
    counts[0] = counts_until_h
    rows = np.zeros((ROWS, BAGS))
    return Panel(
        hours=HOURS,
        ahead=np.array([ROW_H * ROWS]),
        begun_h=0.0,
        excess=rows,
        white=rows + 0.05,
        stretch=rows.astype(np.int64),
        lead_h=np.zeros(BAGS),
        counts_until_h=counts,
    )


def left(*own: float) -> NDArray[np.float64]:
    """What the fits leave: each bag a broad hump of so many kelvin at 90 h, the rest like none."""
    size_k = np.array([*own, *np.zeros(BAGS - len(own))])
    return np.asarray(np.exp(-0.5 * ((HOURS[:, None] - 90.0) / 30.0) ** 2) * size_k)


def test_what_all_mates_have_is_found_but_for_what_smoothing_takes() -> None:
    got = alike_k(panel(), left(*[0.5] * BAGS), np.full(BAGS, 80.0), PARAMS)
    # a Gaussian of 30 h smoothed over 6 h keeps 30 / sqrt(30² + 6²) of its height
    assert got.max(axis=0) == pytest.approx(0.5 * 30.0 / math.hypot(30.0, 6.0), abs=0.002)
    assert np.allclose(HOURS[got.argmax(axis=0)], 90.0)


def test_what_one_bag_has_and_its_mates_do_not_is_left_to_it() -> None:
    assert not alike_k(panel(), left(2.0), np.full(BAGS, 80.0), PARAMS).any()


def test_a_bag_is_told_the_least_of_its_mates_and_nothing_of_itself() -> None:
    got = alike_k(panel(), left(*np.linspace(0.4, 0.8, BAGS - 1), 9.0), np.full(BAGS, 80.0), PARAMS)
    assert got[:, -1].max() == pytest.approx(0.4 * 30.0 / math.hypot(30.0, 6.0), abs=0.002)


def test_where_mates_differ_in_sign_nothing_is_alike() -> None:
    assert not alike_k(panel(), left(*[0.5, -0.5] * 5), np.full(BAGS, 80.0), PARAMS).any()


def test_what_is_lacking_alike_is_found_too() -> None:
    got = alike_k(panel(), left(*[-0.5] * BAGS), np.full(BAGS, 80.0), PARAMS)
    assert got.min() < -0.45 and got.max() <= 0.0


@pytest.mark.parametrize(("mates", "some"), [(5, False), (6, True)])
def test_fewer_than_six_mates_tell_nothing(mates: int, some: bool) -> None:
    rows = left(*[0.5] * BAGS)
    rows[:, mates + 1 :] = np.nan
    got = alike_k(panel(), rows, np.full(BAGS, 80.0), PARAMS)
    assert bool(got[:, : mates + 1].any()) is some


@pytest.mark.parametrize(("until_h", "some"), [(0.0, False), (math.inf, True)])
def test_a_bag_tells_its_mates_nothing_since_its_heat_set_in(until_h: float, some: bool) -> None:
    rows = left(*[0.5] * BAGS)
    rows[:, 7:] = np.nan  # six mates of each but for Q00 once it is hot
    got = alike_k(panel(until_h), rows, np.full(BAGS, 80.0), PARAMS)
    assert bool(got[:, 1:7].any()) is some


def test_mates_are_read_at_the_stage_of_the_run_that_the_bag_is_at() -> None:
    """Bags of one shape, each as late as its peak; of none is any of it taken for another's."""
    late_h = np.linspace(-12.0, 12.0, BAGS)
    rows = 0.5 * np.exp(-0.5 * ((HOURS[:, None] - 90.0 - late_h) / 30.0) ** 2)
    got = alike_k(panel(), rows, 80.0 + late_h, PARAMS)
    assert got.max(axis=0) == pytest.approx(0.5 * 30.0 / math.hypot(30.0, 6.0), abs=0.01)
    assert np.abs(HOURS[got.argmax(axis=0)] - 90.0 - late_h).max() <= ROW_H / 2.0
