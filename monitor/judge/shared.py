"""What all bags of a room share in each row: its draughts, its cycle, its thermometer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.judge.history import BY_HAND, BY_PROBE, History
from monitor.judge.spread import common_drift, shared_course, typical
from monitor.values import Bag

Array = NDArray[np.float64]


def mostly_by(history: History) -> int:
    """By which means most of the readings were taken."""
    by_hand, by_probe = ((history.means == means).sum() for means in (BY_HAND, BY_PROBE))
    return BY_HAND if by_hand > by_probe else BY_PROBE


def lots_of(history: History, bags: Mapping[str, Bag]) -> list[list[int]]:
    """The columns of each lot's bags: what is of one strain and one spawn lot."""
    found: dict[tuple[str, str], list[int]] = {}
    for column, name in enumerate(history.bags):
        if name in bags:
            lot = (bags[name].strain, bags[name].spawn_lot)
            found.setdefault(lot, []).append(column)
    return list(found.values())


def room_share(
    history: History, lots: Sequence[Sequence[int]], means: int, level_k: float, slow_h: float
) -> Array:
    """What is shared in each row [K], given how far single readings stray, `level_k`, and how
    slowly what is a bag's own moves, `slow_h` (by hand twice that, as walks are half a day apart).

    By hand also what drifts slowly in every lot, as a thermometer does and no heat of several lots
    at once.
    """
    left, hours = _left(history), history.hours
    if means == BY_PROBE:
        return shared_course(left, hours, level_k, slow_h)
    shared = shared_course(left, hours, level_k, 2.0 * slow_h)
    return shared + common_drift(left, hours, lots, 2.0 * slow_h, typical(shared))


def _left(history: History) -> Array:
    """What the fits leave of every reading; bags not fitted yet stand at their median."""
    left = history.excess - history.predicted
    unknown = np.isfinite(history.excess) & ~np.isfinite(left)
    for column in np.flatnonzero(unknown.any(axis=0)):
        rows = unknown[:, column]
        left[rows, column] = history.excess[rows, column] - np.median(history.excess[rows, column])
    return left
