"""A bag moved with nothing in the book is neither hot nor stalled, and heat is no move."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from monitor.judge.curve import Grid, shapes
from monitor.judge.filters import Noise, whitener
from monitor.judge.likelihood import Design, project, reduce_design
from monitor.judge.looks import Look
from monitor.judge.odds import Healthy, weigh_steps
from monitor.judge.panel import look
from monitor.judge.steps import StepParams, moments, step_shapes
from tests.judge.test_evidence import Run, book, cohort, frames, ramp, run

PARAMS = StepParams()
LAG_H = 2.5


def moved(at_h: float, size_k: float) -> Callable[[float], float]:
    """The warmth a bag gains from a warmer place: at once what its probe sees of the air, the
    rest by its lag."""

    def more_k(age_h: float) -> float:
        since_h = age_h - at_h
        return 0.0 if since_h < 0.0 else size_k * (1.0 - 0.85 * math.exp(-since_h / LAG_H))

    return more_k


def run_with(bag: str, more: Callable[[float], float], hours: int = 190, seed: int = 7) -> Run:
    bags = cohort(seed=seed)
    bags[bag] = replace(bags[bag], more=more)
    return run(frames(bags, hours), book(list(bags)))


@pytest.mark.parametrize("size_k", [-1.2, -0.7, 0.7, 1.2])
def test_a_bag_moved_with_nothing_in_the_book_is_neither_hot_nor_stalled(size_k: float) -> None:
    done = run_with("Q02", moved(110.3, size_k))
    assert done.called("Q02") is None and done.called("Q02", hot=False) is None


def test_a_step_between_two_walks_is_not_weighed_as_a_move(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Twice a day is too seldom to tell a step from heat, so no heat is explained away."""
    weighed = []

    def noted(*given: Any) -> Look:
        weighed.append(look(*given))
        return weighed[-1]

    monkeypatch.setattr("monitor.judge.evidence.look", noted)
    bags = cohort(seed=7)
    bags["Q02"] = replace(bags["Q02"], more=moved(110.3, 2.0))
    done = run(frames(bags, 190, by_hand=True), book(list(bags)))
    assert all(np.isneginf(found.moved).all() for found in weighed)
    assert done.called("Q02") is not None
    weighed.clear()
    run(frames(bags, 130), book(list(bags)))
    assert any(np.isfinite(found.moved).any() for found in weighed)


def test_a_bag_moved_and_hot_later_is_called_for_its_heat() -> None:
    heat = ramp(140.0, 2.0)
    done = run_with("Q02", lambda age_h: moved(100.3, 0.9)(age_h) + heat(age_h), hours=200)
    at_h = done.called("Q02")
    assert at_h is not None and 140.0 < at_h < 180.0


@pytest.mark.parametrize("rise_h", [3.0, 5.0, 10.0])
def test_heat_however_fast_it_sets_in_is_no_move(rise_h: float) -> None:
    """A time constant of 3 h: from a tenth to nine tenths in 13 h."""
    done = run_with("Q02", lambda age_h: 2.0 / (1.0 + math.exp(-(age_h - 110.0) / rise_h)))
    at_h = done.called("Q02")
    assert at_h is not None and at_h < 135.0
    last = done.hours[-1]["Q02"][1]
    assert last.hot >= last.hot_needed


def test_a_step_is_the_mean_of_what_a_probe_reads_over_each_row() -> None:
    hours, at_h = np.array([1.5, 4.5, 7.5, 10.5]), np.array([2.0, 6.0])
    found = step_shapes(hours, at_h, 3.0, PARAMS)
    minutes = (np.arange(0, 12 * 600) + 0.5) / 600.0
    for place, moment_h in enumerate(at_h):
        since = np.maximum(minutes - moment_h, 0.0)
        read = np.where(minutes > moment_h, 1.0 - 0.85 * np.exp(-since / LAG_H), 0.0)
        np.testing.assert_allclose(found[:, place], read.reshape(4, -1).mean(axis=1), atol=1e-3)


def test_moments_end_with_the_last_row() -> None:
    found = moments(100.5, 3.0, PARAMS)
    assert found[0] == pytest.approx(102.0 - PARAMS.reach_h) and found[-1] < 102.0
    np.testing.assert_allclose(np.diff(found), PARAMS.every_h)


def test_the_odds_of_a_step_are_a_ratio_of_likelihoods_worked_out_the_long_way() -> None:
    """Dense Gaussian densities; the size is Gaussian, so each moment's is exact."""
    hours, at_h = np.arange(1.0, 22.0) * 6.0, np.array([60.0, 84.0, 100.0])
    grid, noise = Grid(np.array([60.0]), np.array([10.0]), 4.0, 1.2), Noise(0.1, 10.0, 0.05)
    fixes = np.array([[0.02, 0.01, 0.01]])
    curve = shapes(hours, grid, 0.22)
    steps = step_shapes(hours, at_h, 3.0, PARAMS)
    matrix = whitener(hours, noise)
    design = Design(
        matrix @ np.ones((len(hours), 1)),
        np.einsum("tu,ugc->tgc", matrix, curve),
        matrix @ steps,
        matrix,
    )
    reduced = reduce_design(design, np.array([0.3**2]), fixes)
    random = np.random.default_rng(4)
    bags = 2.0 * curve[:, 0, :1] + random.normal(0.0, 0.1, (len(hours), 4))
    bags[:, 2:] += steps[:, 1:2]
    seen = project(reduced, matrix @ bags)
    precision, right = reduced.strength + 0.3**-2, seen.strength + 2.0 / 0.3**2
    one = np.zeros((4, 1))
    healthy = Healthy(one.astype(np.intp), one, one + precision, right, np.zeros(4), 1)
    log_prior = math.log(0.01)
    odds, share = weigh_steps(healthy, reduced, seen.onset, PARAMS.size_k, log_prior)

    apart = np.abs(hours[:, None] - hours)
    covariance = noise.wander_k**2 * np.exp(-apart / noise.wander_h) + 0.3**2
    covariance += noise.white_k**2 * np.eye(len(hours))
    covariance += curve[:, 0] @ np.diag([0.3**2, *fixes[0]]) @ curve[:, 0].T
    left = (bags - 2.0 * curve[:, 0, :1]).T
    plain = multivariate_normal(np.zeros(len(hours)), covariance).logpdf(left)
    each = [
        multivariate_normal(
            np.zeros(len(hours)), covariance + PARAMS.size_k**2 * np.outer(step, step)
        ).logpdf(left)
        - plain
        for step in steps.T
    ]
    wanted = np.logaddexp.reduce(np.array(each) + log_prior, axis=0)
    np.testing.assert_allclose(odds, wanted, atol=1e-6)
    np.testing.assert_allclose(share, np.exp(np.array(each).T + log_prior - wanted[:, None]))
    assert (share[2:].argmax(axis=1) == 1).all() and (odds[2:] > 0.0).all()
