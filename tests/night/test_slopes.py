"""Theil and Sen's slope against published examples and other programs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.review.slopes import inflation_of, theil_sen

#: Helsel and Hirsch, Statistical Methods in Water Resources (from memory): one outlier of seven.
TOY_X, TOY_Y = (1, 2, 3, 4, 5, 6, 7), (1, 2, 3, 4, 5, 16, 7)


def test_slope_ignores_the_outlier_of_a_textbook() -> None:
    """Least squares would say 1.714; S 19, var 44.333, tau 0.904762, Z 2.70338, p 0.0068638."""
    found = theil_sen(TOY_X, TOY_Y)
    assert (found.slope, found.intercept, found.s) == (1.0, 0.0, 19)
    assert found.var_s == pytest.approx(44.3333, abs=1e-4)
    assert found.tau == pytest.approx(0.904762, abs=1e-6)
    assert found.z == pytest.approx(2.70338, abs=1e-5)
    assert found.p == pytest.approx(0.0068638, abs=1e-7)


def test_slope_of_the_nile_is_the_published_one() -> None:
    """The Nile at Aswan 1871 to 1970: S -1387, slope -2.6 (-3.628 to -1.429) a year."""
    from statsmodels.datasets import nile

    flow = nile.load_pandas().data
    found = theil_sen(list(flow["year"]), list(flow["volume"]))
    assert found.s == -1387
    assert found.var_s == pytest.approx(112728.33, abs=0.01)
    assert found.z == pytest.approx(-4.12807, abs=1e-5)
    assert found.p == pytest.approx(3.658e-5, rel=1e-3)
    assert found.slope == pytest.approx(-2.6)
    assert (found.low, found.high) == pytest.approx((-3.628, -1.429), abs=1e-3)
    assert found.sign == -1


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(-50, 50), min_size=4, max_size=40))
def test_slope_and_interval_are_those_of_scipy(values: list[int]) -> None:
    """Ties and all: scipy.stats.theilslopes and kendalltau are another make."""
    from scipy.stats import kendalltau, theilslopes

    x = list(range(len(values)))
    found = theil_sen(x, values)
    other = theilslopes(values, x, 0.95)
    assert found.slope == pytest.approx(other[0], abs=1e-9)
    assert found.intercept == pytest.approx(other[1], abs=1e-9)
    if len(set(values)) > 1:
        assert (found.low, found.high) == pytest.approx((other[2], other[3]), abs=1e-9)
    if len(set(values)) == len(values):
        assert found.tau == pytest.approx(kendalltau(x, values)[0], abs=1e-9)


def test_interval_widens_where_neighbours_are_alike() -> None:
    """Of a hundred walks without a trend the plain interval misses zero far too often."""
    rng = np.random.default_rng(7)
    plain = wide = 0
    for _ in range(100):
        noise = rng.standard_normal(40)
        walk = [float(noise[0])]
        for step in noise[1:]:
            walk.append(0.7 * walk[-1] + float(step))
        x = list(range(40))
        plain += theil_sen(x, walk).sign != 0
        wide += theil_sen(x, walk, inflation=inflation_of(walk)).sign != 0
    assert plain > 20
    assert wide < plain / 2


def test_inflation_is_one_for_noise_and_three_at_a_half() -> None:
    """1 + 2 (r + r² + …) is (1 + r)/(1 - r) in a long series."""
    rng = np.random.default_rng(3)
    noise = rng.standard_normal(4000)
    walk = np.zeros(4000)
    for i in range(1, 4000):
        walk[i] = 0.5 * walk[i - 1] + noise[i]
    assert inflation_of([float(v) for v in noise]) == pytest.approx(1.0, abs=0.1)
    assert inflation_of([float(v) for v in walk]) == pytest.approx(3.0, abs=0.3)
    assert inflation_of([1.0, 1.0, 1.0, 1.0]) == 1.0


@pytest.mark.parametrize("x", [(1.0, 2.0), (1.0, 1.0, 2.0), tuple(range(1001))])
def test_slope_refuses_what_it_cannot_tell(x: tuple[float, ...]) -> None:
    """Two points, x that stands still, more points than a small machine can pair."""
    with pytest.raises(ValueError, match=r"points|rise"):
        theil_sen(x, x)
