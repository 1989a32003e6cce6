"""Lots that go bad as a whole: no sound mate is left to tell what is usual."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.judge.curve import make_grid
from monitor.judge.strain import HeatPrior
from tests.judge.test_evidence import book, cohort, frames, ramp, run

LOTS = (1, 2, 3)


def called_on_walks(seed: int, bad: bool) -> int:
    """How many of fifteen bags of weak heat are called, if all go bad between an age of 60 and
    130 h or none does."""
    random = np.random.default_rng(seed)
    bags = {name: replace(bag, peak_k=0.55 * bag.peak_k) for name, bag in cohort(15, seed).items()}
    if bad:
        bags = {
            name: replace(bag, more=ramp(random.uniform(60.0, 130.0), random.uniform(1.5, 2.5)))
            for name, bag in bags.items()
        }
    done = run(frames(bags, 240, by_hand=True), book(list(bags)))
    return sum(done.called(bag) is not None for bag in bags)


def test_a_lot_of_weak_heat_that_goes_bad_as_a_whole_does_not_pass_for_a_slow_one() -> None:
    """With humps as broad as a quarter of the peak's age 14 of these 45 are called."""
    assert sum(called_on_walks(seed, bad=True) for seed in LOTS) >= 20
    assert called_on_walks(LOTS[0], bad=False) <= 1


@pytest.mark.parametrize(
    ("prior", "most"),
    [
        (HeatPrior(), 0.2),
        (HeatPrior(peak_h=120.0, rise_h=22.0), 1.25 * 22.0 / 120.0),
        (HeatPrior(peak_h=120.0, rise_h=36.0), 0.25),
    ],
    ids=["nothing known", "known as broad", "told to be very broad"],
)
def test_how_broad_a_hump_may_be_follows_what_is_known_of_the_strain(
    prior: HeatPrior, most: float
) -> None:
    assert prior.most_rise_share == pytest.approx(most)
    grid = make_grid(most_share=prior.most_rise_share)
    share = grid.rise_h / grid.peak_h
    assert most - 0.03 < share.max() < most
