"""A bag on a warm shelf peaks sooner than its cohort: expected, so nothing to call."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.judge.cohort import STRENGTHS_K, Likelihood, Spread, expect, log_prior, scatter
from monitor.judge.curve import make_grid
from monitor.judge.evidence import Judge
from monitor.judge.shelf_air import MOST_LEAD_H, ShelfAir
from monitor.judge.strain import HeatPrior
from tests.judge.test_evidence import book, cohort, frames

MATES = ["B1", "B2", "B3", "B4", "B5"]


def shelves(*air_c: float, frames: int = 6) -> ShelfAir:
    told = ShelfAir()
    for _ in range(frames):
        told.take(dict(zip(MATES, air_c, strict=False)))
    return told


def test_a_run_is_a_twentieth_shorter_for_each_kelvin_beyond_the_middle_of_the_cohort() -> None:
    lead_h = shelves(20.0, 21.0, 21.0, 21.0, 22.5).lead_h(MATES, 100.0)
    assert lead_h == pytest.approx([-5.0, 0.0, 0.0, 0.0, 7.5])


def test_air_that_was_never_read_explains_nothing_and_no_air_explains_more_than_it_can() -> None:
    lead_h = shelves(12.0, 21.0, 21.0, 40.0).lead_h(MATES, 100.0)
    assert lead_h == pytest.approx([-MOST_LEAD_H, 0.0, 0.0, MOST_LEAD_H, 0.0])
    assert ShelfAir().lead_h(MATES, 100.0) == pytest.approx([0.0] * 5)


def test_the_mean_goes_over_all_frames_and_is_kept_over_a_restart() -> None:
    told = shelves(20.0, 21.0, 21.0, frames=1)
    told.take({"B1": 24.0, "B2": 21.0, "B3": 21.0})
    again = ShelfAir()
    again.restore(told.state())
    for one in (told, again):
        assert one.lead_h(["B1", "B2", "B3"], 100.0) == pytest.approx([5.0, 0.0, 0.0])
    again.keep({"B2"})
    assert again.state() == {"B2": [21.0, 2.0]}


def test_what_is_expected_of_a_bag_moves_by_its_lead_and_nobody_elses_does() -> None:
    """Mates that surely peak at 100 h: a bag whose shelf runs 12 h ahead is expected at 88 h."""
    grid, spread = make_grid(24.0, 200.0), Spread()
    lead_h = np.array([12.0, 0.0, 0.0, 0.0, 0.0])
    peaks = 100.0 - lead_h
    precision = np.full((5, grid.size), 400.0)
    surely = -0.5 * (np.log(grid.rise_h / 10.0) / 0.1) ** 2
    rest = np.array([surely - 0.5 * ((grid.peak_h - peak) / 2.0) ** 2 for peak in peaks])
    likelihood = Likelihood(precision, 2.0 * precision, rest)
    prior = log_prior(grid, HeatPrior(), STRENGTHS_K)
    found = []
    for lead in (lead_h, None):
        near = scatter(grid, spread, lead)
        told = expect(likelihood, near, prior, STRENGTHS_K, spread, 6.0)
        share = told.weight / told.weight.sum(axis=1, keepdims=True)
        found.append(share @ grid.peak_h)
    ahead, level = found
    assert ahead[0] == pytest.approx(88.0, abs=2.0)
    assert ahead[1:] == pytest.approx([100.0] * 4, abs=2.0)
    assert level[0] == pytest.approx(100.0, abs=2.0)
    assert level[1:].max() < 100.0  # without it the early bag draws its mates' along


def loudest_ahead(warmer_k: float, seed: int) -> float:
    """The greatest odds of heat of a bag eighteen hours ahead of its cohort, its air so much
    warmer."""
    bags = cohort(seed=seed)
    bags["Q02"] = replace(bags["Q02"], peak_h=62.0)
    judge, planned, odds = Judge(), book(list(bags)), []
    air_c = {**dict.fromkeys(bags, 22.0), "Q02": 22.0 + warmer_k}
    for frame in frames(bags, 90):
        read = {
            name: replace(mean, mean=mean.mean + air_c[name] - 22.0)
            for name, mean in frame.surface_c.items()
        }
        told = judge.step(replace(frame, surface_c=read), planned, air_c, air_c, {})
        odds.append(told["Q02"][1].hot)
    return max(odds)


def test_a_bag_that_runs_ahead_speaks_less_of_heat_where_its_shelf_is_warm() -> None:
    """Six cohorts, as what a lead of one bag looks like hangs on its mates."""
    level, warm = (sum(loudest_ahead(by_k, seed) for seed in range(2, 8)) for by_k in (0.0, 3.0))
    assert warm < level - 2.0
