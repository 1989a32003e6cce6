"""The scalar filter against statsmodels, published numbers and plain algebra."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize_scalar

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

#: Body warmth of a beaver each ten minutes, active from the 39th on (Reynolds 1994; R's beaver2).
BEAVER_C = np.array(
    [
        36.58, 36.73, 36.93, 37.15, 37.23, 37.24, 37.24, 36.90, 36.95, 36.89, 36.95, 37.00, 36.90,
        36.99, 36.99, 37.01, 37.04, 37.04, 37.14, 37.07, 36.98, 37.01, 36.97, 36.97, 37.12, 37.13,
        37.14, 37.15, 37.17, 37.12, 37.12, 37.17, 37.28, 37.28, 37.44, 37.51, 37.64, 37.51, 37.98,
        38.02, 38.00, 38.24, 38.10, 38.24, 38.11, 38.02, 38.11, 38.01, 37.91, 37.96, 38.03, 38.17,
        38.19, 38.18, 38.15, 38.04, 37.96, 37.84, 37.83, 37.84, 37.74, 37.76, 37.76, 37.64, 37.63,
        38.06, 38.19, 38.35, 38.25, 37.86, 37.95, 37.95, 37.76, 37.60, 37.89, 37.86, 37.71, 37.78,
        37.82, 37.76, 37.81, 37.84, 38.01, 38.10, 38.15, 37.92, 37.64, 37.70, 37.46, 37.41, 37.46,
        37.56, 37.55, 37.75, 37.76, 37.73, 37.77, 38.01, 38.04, 38.07,
    ]
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
    theirs = sm.tsa.UnobservedComponents(NILE, "local level", use_exact_diffuse=True)
    assert done.log_likelihood[0] - 0.5 * np.log(2.0 * np.pi) == pytest.approx(
        theirs.loglike([15098.5, 1469.1]), abs=1e-6
    )


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


def test_warmth_that_wanders_is_told_from_warmth_that_came_as_the_textbook_tells_it() -> None:
    """Generalised least squares with AR(1) errors by maximum likelihood (Venables and Ripley 2002,
    from memory): 37.1919 °C, 0.6142 K with activity (standard error 0.1087), phi 0.8732, sd
    0.2528 K. Least squares that take readings as independent say 0.8062 K, give or take 0.0439."""
    hours, rows = np.arange(100) / 6.0, len(BEAVER_C)
    active = (np.arange(rows) >= 38).astype(float)
    design = np.column_stack([np.ones(rows), active])

    def fitted(matrix: np.ndarray) -> tuple[np.ndarray, float, np.ndarray]:
        seen, of = matrix @ BEAVER_C, matrix @ design
        found, rest, *_ = np.linalg.lstsq(of, seen, rcond=None)
        errors = np.sqrt(np.diag(np.linalg.inv(of.T @ of)) * rest[0] / (rows - 2))
        return found, float(rest[0]), errors

    def unlikely(wander_h: float) -> float:
        matrix = whitener(hours, Noise(1.0, wander_h, 0.0))
        return float(rows * np.log(fitted(matrix)[1]) - 2.0 * np.linalg.slogdet(matrix)[1])

    wander_h = float(minimize_scalar(unlikely, bounds=(0.1, 20.0), method="bounded").x)
    found, rest, errors = fitted(whitener(hours, Noise(1.0, wander_h, 0.0)))
    assert np.exp(-1.0 / 6.0 / wander_h) == pytest.approx(0.8732, abs=1e-3)
    assert found == pytest.approx([37.1919, 0.6142], abs=1e-3)
    assert errors[1] == pytest.approx(0.1087, abs=1e-3)
    assert np.sqrt(rest / rows) == pytest.approx(0.2528, abs=2e-3)
    found, _, errors = fitted(np.eye(rows))
    assert (found[1], errors[1]) == pytest.approx((0.8062, 0.0439), abs=1e-4)
