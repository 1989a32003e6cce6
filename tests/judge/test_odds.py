"""Bayes factors: their bound by simulation, their parts against plain numerics."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from monitor.judge.cohort import Expected, Likelihood
from monitor.judge.curve import Grid, onset_steps, shapes
from monitor.judge.filters import Noise, whitener
from monitor.judge.likelihood import Design, Precision, invert, project, reduce_design
from monitor.judge.odds import (
    Amplitude,
    Healthy,
    log_normal_cdf,
    needed_log_odds,
    weigh_healthy,
    weigh_onsets,
)

HOURS = np.arange(1.0, 22.0) * 6.0
GRID = Grid(np.array([60.0]), np.array([10.0]), 4.0, 1.2)
NOISE = Noise(0.1, 10.0, 0.05)
OFFSET_K, STRENGTH_K, STRENGTH_SD_K = 0.3, 2.0, 0.3
CORRECTION_VARIANCE = np.array([[0.02, 0.01, 0.01]])
ONSETS_H = np.arange(0.0, 126.0, 12.0)
#: What is believed of added heat, and of the share of its heat that a stalled bag loses.
ANY, DEAD = Amplitude(0.0, 1.0), Amplitude(0.9, 0.15)


def _noise_covariance(hours: np.ndarray) -> np.ndarray:
    apart = np.abs(hours[:, None] - hours)
    wander = NOISE.wander_k**2 * np.exp(-apart / NOISE.wander_h)
    return wander + NOISE.white_k**2 * np.eye(len(hours))


def _healthy_density(rows: int) -> Any:
    """The healthy model of the first `rows` rows as one dense Gaussian, worked out the long way."""
    curve = shapes(HOURS[:rows], GRID, 0.22)[:, 0]
    variances = np.concatenate([[STRENGTH_SD_K**2], CORRECTION_VARIANCE[0]])
    covariance = _noise_covariance(HOURS[:rows]) + OFFSET_K**2
    covariance += curve @ np.diag(variances) @ curve.T
    return multivariate_normal(STRENGTH_K * curve[:, 0], covariance)


def _healthy_bags(count: int, random: np.random.Generator) -> np.ndarray:
    """Bags drawn from the healthy model itself: (rows, bags)."""
    curve = shapes(HOURS, GRID, 0.22)[:, 0]
    covariance = _noise_covariance(HOURS)
    coefficients = np.vstack(
        [
            random.normal(STRENGTH_K, STRENGTH_SD_K, count),
            random.normal(0.0, np.sqrt(CORRECTION_VARIANCE[0])[:, None], (3, count)),
        ]
    )
    noise = np.linalg.cholesky(covariance) @ random.normal(size=(len(HOURS), count))
    return curve @ coefficients + random.normal(0.0, OFFSET_K, count) + noise


def _log_factors(bags: np.ndarray, rows: int, prior: Amplitude = ANY) -> np.ndarray:
    """Log Bayes factors of added heat after the first `rows` rows."""
    healthy, reduced, onset_right = _seen(bags, rows, ONSETS_H)
    log_onset = np.full(len(ONSETS_H), -np.log(len(ONSETS_H)))
    return weigh_onsets(healthy, reduced, onset_right, prior, log_onset).log_factor


def _seen(
    bags: np.ndarray, rows: int, onsets_h: np.ndarray
) -> tuple[Healthy, Precision, np.ndarray]:
    """The first `rows` rows under the healthy model, and what they say of each onset."""
    matrix = whitener(HOURS[:rows], NOISE)
    design = Design(
        matrix @ np.ones((rows, 1)),
        np.einsum("tu,ugc->tgc", matrix, shapes(HOURS[:rows], GRID, 0.22)),
        matrix @ onset_steps(HOURS[:rows], onsets_h, 4.0),
        matrix,
    )
    reduced = reduce_design(design, np.array([OFFSET_K**2]), CORRECTION_VARIANCE)
    seen = project(reduced, matrix @ bags[:rows])
    count = bags.shape[1]
    one = np.ones((count, 1))
    expected = Expected(
        one, STRENGTH_K * one, STRENGTH_SD_K**2 * one, STRENGTH_K * one, STRENGTH_SD_K**2 * one,
        np.ones((1, 1)),
    )  # fmt: skip
    likelihood = Likelihood(np.tile(reduced.strength, (count, 1)), seen.strength, seen.rest)
    return weigh_healthy(likelihood, expected, 0.5, 2), reduced, seen.onset


def test_healthy_bags_pass_a_bound_no_more_often_than_ville_allows() -> None:
    """Ville's inequality: P(ever >= 1/a) <= a; 20,000 simulated healthy runs, three sigma."""
    bags = _healthy_bags(20_000, np.random.default_rng(11))
    highest = np.max([_log_factors(bags, rows) for rows in range(3, len(HOURS) + 1)], axis=0)
    for chance in (0.1, 0.02, 0.005):
        passed = float((highest >= -np.log(chance)).mean())
        assert passed <= chance + 3.0 * np.sqrt(chance * (1.0 - chance) / 20_000)
    # and the bound is not idle: such factors do occur
    assert (highest >= -np.log(0.1)).mean() > 0.005


@pytest.mark.parametrize("prior", [ANY, DEAD])
def test_the_factor_is_the_ratio_of_two_likelihoods_worked_out_the_long_way(
    prior: Amplitude,
) -> None:
    """Dense Gaussian densities, the amplitude and the onset summed by brute force."""
    rows = 14
    bags = _healthy_bags(6, np.random.default_rng(12))
    bags[:, 3:] += 0.8 * onset_steps(HOURS, np.array([60.0]), 5.0)
    amplitudes = np.linspace(0.0, 6.0, 1201)
    weights = norm.pdf(amplitudes, prior.mean, prior.sd)
    weights[0] *= 0.5
    weights /= weights.sum()
    steps = onset_steps(HOURS[:rows], ONSETS_H, 4.0)
    healthy = _healthy_density(rows)
    found = _log_factors(bags, rows, prior)
    for bag in range(6):
        read = bags[:rows, bag]
        shifted = read - amplitudes[:, None, None] * steps.T[None]
        ratio = np.exp(healthy.logpdf(shifted) - healthy.logpdf(read))
        assert found[bag] == pytest.approx(np.log((weights @ ratio).mean()), abs=1e-3)


def test_a_heats_size_is_told_by_its_own_prior_not_by_that_it_is_weighed_with() -> None:
    """Posterior mean of the amplitude, by dense Gaussian densities summed over a grid; a bag that
    lacks next to nothing is not told to lack nine tenths because stalled bags do."""
    rows, onset_h = 14, np.array([60.0])
    step = onset_steps(HOURS, onset_h, 4.0)
    bags = _healthy_bags(4, np.random.default_rng(14)) + np.array([0.0, 0.0, 0.9, 0.9]) * step
    seen, only = _seen(bags, rows, onset_h), np.zeros(1)
    told = weigh_onsets(*seen, DEAD, only, told_by=Amplitude(0.0, 0.5)).amplitude[:, 0, 0]
    healthy = _healthy_density(rows)
    amplitudes = np.linspace(0.0, 4.0, 2001)
    for bag in range(4):
        shifted = bags[:rows, bag] - amplitudes[:, None] * step[:rows, 0]
        log_weight = norm.logpdf(amplitudes, 0.0, 0.5) + healthy.logpdf(shifted)
        weight = np.exp(log_weight - log_weight.max())
        weight[0] *= 0.5
        assert told[bag] == pytest.approx(weight @ amplitudes / weight.sum(), abs=2e-3)
    by_dead = weigh_onsets(*seen, DEAD, only).amplitude[:, 0, 0]
    assert (by_dead[:2] > 3.0 * told[:2]).all()


def test_the_surprise_of_healthy_bags_is_standard_normal_whatever_is_believed_of_a_heat() -> None:
    """The noise of the room is learned from it (2,000 bags, three sigma)."""
    seen = _seen(_healthy_bags(2000, np.random.default_rng(15)), 14, np.array([60.0]))
    by_any, by_dead = (
        weigh_onsets(*seen, prior, np.zeros(1)).surprise[:, 0] for prior in (ANY, DEAD)
    )
    np.testing.assert_allclose(by_any, by_dead)
    assert by_any.mean() == pytest.approx(0.0, abs=3.0 / np.sqrt(2000))
    assert by_any.std() == pytest.approx(1.0, abs=3.0 / np.sqrt(4000))


def test_added_heat_is_found_and_its_absence_counts_against_it() -> None:
    bags = _healthy_bags(200, np.random.default_rng(13))
    warmed = bags + 1.5 * onset_steps(HOURS, np.array([84.0]), 6.0)
    assert np.median(_log_factors(warmed, len(HOURS))) > 6.0
    assert np.median(_log_factors(bags, len(HOURS))) < 0.0


def test_the_log_normal_cdf_agrees_with_scipy() -> None:
    z = np.linspace(-30.0, 8.0, 500)
    np.testing.assert_allclose(log_normal_cdf(z), norm.logcdf(z), atol=3e-7)


def test_a_smaller_budget_needs_more_evidence() -> None:
    assert needed_log_odds(0.5, 0.05, 1.0) - needed_log_odds(5.0, 0.05, 1.0) == pytest.approx(
        np.log(10.0)
    )
    with pytest.raises(ValueError, match="above 0"):
        needed_log_odds(0.0, 0.05, 1.0)


def test_cofactors_invert_as_lapack_does() -> None:
    """Small symmetric matrices whose diagonals differ by eight orders, as corrections' do."""
    random = np.random.default_rng(5)
    root = random.normal(size=(2000, 3, 3)) * np.array([1e-2, 1.0, 1e2])
    matrices = root.transpose(0, 2, 1) @ root + np.diag([1e-5, 0.1, 1e3])
    inverse, log_det = invert(matrices)
    assert np.allclose(inverse @ matrices, np.eye(3), atol=1e-6)
    assert np.allclose(inverse, np.linalg.inv(matrices), rtol=1e-6, atol=1e-9)
    assert np.allclose(log_det, np.linalg.slogdet(matrices)[1], atol=1e-9)


def test_warmth_is_unknown_by_the_strength_and_by_which_curve_is_the_bags() -> None:
    """A mixture's variance is the mean of its parts' and that of their means; drawn a million
    times beside it."""
    point, log_weight = np.array([[0, 2]]), np.log([[0.3, 0.7]])
    precision, right = np.array([[25.0, 4.0]]), np.array([[25.0 * 1.2, 4.0 * 2.0]])
    healthy = Healthy(point, log_weight, precision, right, np.zeros(1), 3)
    height = np.array([0.5, 9.0, 0.8])
    random = np.random.default_rng(1)
    which = (random.random(1_000_000) < 0.7).astype(int)
    strength = random.normal((right / precision)[0][which], 1.0 / np.sqrt(precision[0][which]))
    drawn = strength * height[point[0][which]]
    assert healthy.level_sd_k(height) == pytest.approx([drawn.std()], rel=0.01)
    assert healthy.level_sd_k(np.zeros(3)) == pytest.approx([0.0])
