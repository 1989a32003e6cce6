"""The noise of readings by hand, told by how walks differ."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.judge.history import BY_HAND, BY_PROBE, History
from monitor.judge.params import JudgeParams
from monitor.judge.room_noise import RoomNoise, between_walks_k

PARAMS = JudgeParams()


def walked(noise_k: float, walks: int = 20, digit_k: float = 0.1, hot: int = 0) -> History:
    """48 bags on four shelves, read at eight and at twenty, each with an offset of its own, fitted
    as flat; the first `hot` of them climb by 0.4 K from walk to walk."""
    random = np.random.default_rng(3)
    history = History(PARAMS.row_s, PARAMS.most_rows, PARAMS.rows_ahead)
    offsets_k = random.normal(0.0, 0.4, 48)
    climbs_k = np.where(np.arange(48) < hot, 0.4, 0.0)
    for walk in range(walks):
        air_c = 21.0 + np.tile(random.normal(0.0, 0.3, 4), 12)
        read_c = air_c + offsets_k + climbs_k * walk + random.normal(0.0, noise_k, 48)
        read_k = np.round(read_c / digit_k) * digit_k - air_c
        history.append(4 * walk, {f"B{bag:02d}": (k, BY_HAND) for bag, k in enumerate(read_k)})
    history.predicted[:] = offsets_k
    return history


def learned_k(history: History) -> float:
    noise = RoomNoise(PARAMS)
    noise.row_closed(history, np.zeros(len(history.bins)))
    return noise.of(BY_HAND).white_k


@pytest.mark.parametrize("noise_k", [0.18, 0.25, 0.35, 0.5])
def test_a_thermometer_is_known_by_how_its_walks_differ(noise_k: float) -> None:
    """Common practice, no source: a hand-held thermometer repeats to a few tenths of a kelvin."""
    assert learned_k(walked(noise_k)) == pytest.approx(noise_k, rel=0.08)
    assert learned_k(walked(noise_k, hot=8)) == pytest.approx(noise_k, rel=0.2)


def test_few_walks_tell_little_and_whole_degrees_are_not_taken_for_certainty() -> None:
    set_k = PARAMS.hand.white_k
    assert learned_k(walked(0.05, walks=1)) == set_k
    assert 0.2 < learned_k(walked(0.05, walks=2)) < set_k
    assert learned_k(walked(0.05, digit_k=1.0)) > 0.95 * PARAMS.least_by_hand_k
    assert learned_k(walked(0.0)) > 0.14, "the floor of 0.15 K"


def test_walks_days_apart_and_probes_tell_nothing_of_the_thermometer() -> None:
    history = walked(0.3, walks=6)
    nothing_shared = np.zeros(6)
    assert len(between_walks_k(history, nothing_shared)) == 5 * 48
    history.bins = [20 * number for number in history.bins]
    assert not len(between_walks_k(history, nothing_shared))
    history.bins = list(range(6))
    history.means[:] = BY_PROBE
    assert not len(between_walks_k(history, nothing_shared))


def test_what_was_learned_is_kept() -> None:
    one, other = RoomNoise(PARAMS), RoomNoise(PARAMS)
    history = walked(0.5)
    one.surprised("B00", np.array([3.0, np.nan]))
    for _ in range(PARAMS.learn_rows):
        one.row_closed(history, np.zeros(len(history.bins)))
    other.restore(one.state())
    assert other.of(BY_HAND) == one.of(BY_HAND) and other.of(BY_PROBE) == one.of(BY_PROBE)
    assert one.of(BY_PROBE).white_k > PARAMS.probe.white_k
