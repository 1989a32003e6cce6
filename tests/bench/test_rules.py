"""The simple rules on small hand-made rooms."""

from __future__ import annotations

import numpy as np

from tests.bench.folders import FRAME_S, Room, Walk
from tests.bench.rules import cohort_day, cohort_hour, cohort_z, fixed_limit, walks_twice


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
