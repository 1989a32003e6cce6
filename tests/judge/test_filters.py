"""The scalar filter against statsmodels, published numbers and plain algebra."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from monitor.judge.filters import Noise, filter_level, whitener

# Annual flow of the Nile at Aswan 1871-1970 (Durbin and Koopman 2012; public data).
NILE = np.array(
    [
        1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960,
        1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694,
        940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
        821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822,
        1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050,
        918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
    ],
    dtype=float,
)  # fmt: skip


def test_the_filter_agrees_with_statsmodels_on_random_models() -> None:
    random = np.random.default_rng(5)
    for _ in range(12):
        rows = int(random.integers(5, 60))
        phi, q, r = random.uniform(0.1, 0.99), random.uniform(0.01, 2.0), random.uniform(0.01, 2.0)
        series = random.normal(size=rows)
        model = sm.tsa.statespace.MLEModel(
            series,
            k_states=1,
            initialization="known",
            initial_state=[0.0],
            initial_state_cov=[[q]],
        )
        model["design", 0, 0] = 1.0
        model["transition", 0, 0] = phi
        model["selection", 0, 0] = 1.0
        model["state_cov", 0, 0] = q
        model["obs_cov", 0, 0] = r
        theirs = model.ssm.filter()
        ours = filter_level(
            series[:, None], np.full(rows, phi), np.full(rows, q), np.full(rows, r), 0.0
        )
        assert ours.log_likelihood[0] == pytest.approx(theirs.llf, abs=1e-8)
        assert ours.level[0] == pytest.approx(theirs.filtered_state[0, -1], abs=1e-8)
        assert ours.level_variance == pytest.approx(theirs.filtered_state_cov[0, 0, -1], abs=1e-8)
        np.testing.assert_allclose(ours.variances, theirs.forecasts_error_cov[0, 0], atol=1e-8)


def test_the_filter_gives_the_published_likelihood_of_the_nile() -> None:
    """Local level with the variances of Durbin and Koopman (2012, section 2.2): the exact
    diffuse log likelihood is -633.4646, the last filtered level 798.37, its variance 4032."""
    rows = len(NILE) - 1
    done = filter_level(
        NILE[1:, None] - NILE[0],
        np.ones(rows),
        np.full(rows, 1469.1),
        np.full(rows, 15098.5),
        15098.5,
    )
    # The first year is spent on the diffuse start; its term is -log(2 pi) / 2.
    assert done.log_likelihood[0] - 0.5 * np.log(2.0 * np.pi) == pytest.approx(-633.46456, abs=1e-4)
    assert done.level[0] + NILE[0] == pytest.approx(798.369, abs=2e-3)
    assert done.level_variance == pytest.approx(4032.08, abs=0.05)


def test_the_whitener_turns_the_noise_covariance_into_the_unit_matrix_over_any_gaps() -> None:
    random = np.random.default_rng(8)
    hours = np.cumsum(random.exponential(4.0, 30))
    noise = Noise(0.2, 9.0, 0.1)
    white = random.uniform(0.05, 0.4, 30)
    apart = np.abs(hours[:, None] - hours)
    covariance = 0.2**2 * np.exp(-apart / 9.0) + np.diag(white**2)
    matrix = whitener(hours, noise, white)
    np.testing.assert_allclose(matrix @ covariance @ matrix.T, np.eye(30), atol=1e-10)
    assert np.allclose(np.triu(matrix, 1), 0.0)
