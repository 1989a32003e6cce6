"""The simple rules on small hand-made rooms."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.folders import FRAME_S, Room, Walk
from tests.bench.rules import (
    cohort_day,
    cohort_hour,
    cohort_z,
    fixed_limit,
    page_sums,
    walks_sum,
    walks_twice,
)


def room(surface_c: np.ndarray, walks: tuple[Walk, ...] = ()) -> Room:
    """All bags in one cohort, frames from time zero."""
    bags = tuple(f"B{i}" for i in range(len(surface_c)))
    return Room(
        bags=bags,
        cohorts=(np.arange(len(bags)),),
        inoculated_s=np.zeros(len(bags)),
        ends_s=FRAME_S * (1 + np.arange(surface_c.shape[1])),
        surface_c=surface_c,
        walks=walks,
        truths=(),
    )


def spread(frames: int) -> np.ndarray:
    """Five bags around 22 °C, a tenth of a kelvin apart."""
    return 22.0 + 0.1 * np.arange(-2, 3)[:, None] + np.zeros((5, frames))


def test_the_cohort_rule_calls_after_one_hour_and_not_before() -> None:
    warm = spread(12)
    warm[0, 3:8] += 4.0  # five frames: not an hour
    assert cohort_hour(room(warm)) == ()
    warm[0, 8] += 4.0
    (call,) = cohort_hour(room(warm))
    assert (call.subject, call.at_s) == ("B0", 9 * FRAME_S)


def test_the_day_rule_wants_its_excess_on_the_mean_of_a_day() -> None:
    warm = spread(3 * 144)
    warm[4, 144:] += 3.0
    (call,) = cohort_day(room(warm))
    assert call.subject == "B4" and 1.5 < call.at_s / 86400 < 2.0


def test_a_hot_room_trips_the_fixed_limit_on_every_bag_and_no_cohort_rule() -> None:
    hot = spread(24) + 5.0
    assert len(fixed_limit(room(hot))) == 5
    assert cohort_hour(room(hot)) == cohort_z(room(hot)) == ()


def test_a_gap_in_readings_is_no_call() -> None:
    warm = spread(24)
    warm[0] = np.nan
    assert cohort_hour(room(warm)) == ()


def test_walks_must_agree_twice_running() -> None:
    even = np.array([22.0, 22.0, 22.0, 22.0])
    once = even + np.array([2.5, 0.0, 0.0, 0.0])
    walks = tuple(Walk(43200.0 * i, read) for i, read in enumerate([once, even, once, once]))
    (call,) = walks_twice(room(np.zeros((4, 0)), walks))
    assert (call.subject, call.at_s) == ("B0", 3 * 43200.0)


def test_pages_sums_are_those_of_nists_example() -> None:
    """NIST/SEMATECH e-Handbook, 6.3.2.3 (its data from memory): target 325, k 0.3175, h 4.1959;
    the first alarm is the fourteenth; the lower sums reach 0.715 with the eighth."""
    read = np.array(
        [
            324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225,
            324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775,
            326.875, 328.350,
        ]
    )  # fmt: skip
    upper, lower = page_sums(read - 325.0, 0.3175), page_sums(325.0 - read, 0.3175)
    assert upper[12:] == pytest.approx(
        [3.0075, 4.940, 7.4475, 10.630, 11.9875, 14.445, 16.0025, 19.035], abs=1e-3
    )
    assert upper[:5] == pytest.approx([0.0, 0.0, 0.0, 0.0, 0.0325])
    assert int(np.argmax(upper > 4.1959)) == 13
    assert (int(lower.argmax()), lower.max()) == (7, pytest.approx(0.715, abs=1e-3))


@pytest.mark.parametrize(
    ("limit", "shift", "length"),
    [(4.0, 0.0, 335.4), (4.0, 1.0, 8.38), (5.0, 0.5, 38.0), (5.0, 1.0, 10.38), (5.0, 2.0, 4.01)],
)
def test_run_lengths_of_pages_sums_are_those_of_the_table(
    limit: float, shift: float, length: float
) -> None:
    """One side, k 0.5, by the integral equation (Goel and Wu 1971), as textbooks print them; by
    3,000 drawn runs, four sigma."""
    runs, rows = 3000, int(9 * length) + 40
    drawn = np.random.default_rng(31).normal(shift, 1.0, (runs, rows))
    over = page_sums(drawn, 0.5) > limit
    lengths = np.where(over.any(axis=1), over.argmax(axis=1) + 1, rows)
    error = lengths.std() / np.sqrt(runs)
    assert error < 0.02 * length
    assert lengths.mean() == pytest.approx(length, abs=4.0 * error + 0.01)


def test_pages_sum_calls_the_walk_on_which_it_is_over_its_limit() -> None:
    even = np.array([21.9, 22.0, 22.0, 22.0, 22.1])
    warm = even + np.array([0.0, 0.0, 0.0, 0.0, 0.3])
    walks = tuple(Walk(43200.0 * i, read) for i, read in enumerate([even, warm, warm, warm]))
    (call,) = walks_sum(room(np.zeros((5, 0)), walks))
    assert (call.subject, call.at_s) == ("B4", 2 * 43200.0)
