"""The simple rules a grower could set on any logger, to be beaten in the same run."""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np

from tests.bench.folders import FRAME_S, Room
from tests.bench.scoring import Call

FIXED_LIMIT_C = 26.1  # 79 °F at the surface
FRAMES_PER_HOUR = int(3600 / FRAME_S)
LEAST_MAD_K = 0.1


def over_cohort(room: Room, values: np.ndarray) -> np.ndarray:
    """Each value less the median of its cohort at that time."""
    out = np.full(values.shape, np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a frame nobody has read
        for members in room.cohorts:
            out[members] = values[members] - np.nanmedian(values[members], axis=0)
    return out


def robust_z(room: Room, values: np.ndarray) -> np.ndarray:
    """Distance from the cohort's median in scaled median absolute deviations."""
    away = over_cohort(room, values)
    out = np.full(values.shape, np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        for members in room.cohorts:
            mad = 1.4826 * np.nanmedian(np.abs(away[members]), axis=0)
            out[members] = away[members] / np.maximum(mad, LEAST_MAD_K)
    return out


def running_mean(values: np.ndarray, frames: int) -> np.ndarray:
    """Mean of the last `frames` frames where at least half of them have a value."""
    known = np.isfinite(values)

    def window(a: np.ndarray) -> np.ndarray:
        total = np.cumsum(np.pad(a, ((0, 0), (frames, 0))), axis=1)
        return np.asarray(total[:, frames:] - total[:, :-frames])

    number = window(known.astype(float))
    total = window(np.where(known, values, 0.0))
    return np.where(number >= frames / 2, total / np.maximum(number, 1.0), np.nan)


def rising(room: Room, over: np.ndarray, held_frames: int) -> tuple[Call, ...]:
    """A call at every moment at which `over` has just held for `held_frames` frames."""
    held = np.cumsum(np.pad(over.astype(int), ((0, 0), (held_frames, 0))), axis=1)
    full = held[:, held_frames:] - held[:, :-held_frames] == held_frames
    begins = full & ~np.pad(full, ((0, 0), (1, 0)))[:, :-1]
    return tuple(Call(float(room.ends_s[j]), room.bags[i], "hot") for i, j in np.argwhere(begins))


def fixed_limit(room: Room) -> tuple[Call, ...]:
    hourly = running_mean(room.surface_c, FRAMES_PER_HOUR)
    return rising(room, hourly >= FIXED_LIMIT_C, 1)


def cohort_hour(room: Room, limit_k: float = 2.5) -> tuple[Call, ...]:
    away = over_cohort(room, room.surface_c)
    return rising(room, away >= limit_k, FRAMES_PER_HOUR)


def cohort_day(room: Room, limit_k: float = 2.0) -> tuple[Call, ...]:
    away = running_mean(over_cohort(room, room.surface_c), 24 * FRAMES_PER_HOUR)
    return rising(room, away >= limit_k, 1)


def cohort_z(room: Room, limit: float = 4.6) -> tuple[Call, ...]:
    return rising(room, robust_z(room, room.surface_c) >= limit, FRAMES_PER_HOUR)


def page_sums(values: np.ndarray, allowance: float) -> np.ndarray:
    """Page's upper sums (1954) along the last axis: each value over its `allowance`, begun anew
    at 0. A value that is missing adds nothing."""
    sums, total = np.zeros(values.shape), np.zeros(values.shape[:-1])
    for place in range(values.shape[-1]):
        total = np.maximum(0.0, total + np.nan_to_num(values[..., place] - allowance))
        sums[..., place] = total
    return sums


def walks_sum(room: Room, allowance: float = 0.5, limit: float = 5.0) -> tuple[Call, ...]:
    """Page's sum of the robust z over the cohort, walk by walk."""
    if not room.walks:
        return ()
    z = robust_z(room, np.stack([walk.surface_c for walk in room.walks], axis=1))
    over = page_sums(z, allowance) >= limit
    begins = over & ~np.pad(over, ((0, 0), (1, 0)))[:, :-1]
    return tuple(Call(room.walks[j].at_s, room.bags[i], "hot") for i, j in np.argwhere(begins))


def walks_twice(room: Room, limit_k: float = 2.0) -> tuple[Call, ...]:
    """So much over the cohort on two walks running."""
    if not room.walks:
        return ()
    values = np.stack([walk.surface_c for walk in room.walks], axis=1)
    over = over_cohort(room, values) >= limit_k
    twice = over[:, 1:] & over[:, :-1]
    begins = twice & ~np.pad(twice, ((0, 0), (1, 0)))[:, :-1]
    return tuple(Call(room.walks[j + 1].at_s, room.bags[i], "hot") for i, j in np.argwhere(begins))


ON_PROBES: dict[str, Callable[[Room], tuple[Call, ...]]] = {
    "fixed limit 26.1 °C at the surface": fixed_limit,
    "2.5 °C over the cohort, held 1 h": cohort_hour,
    "2.0 °C over the cohort on the 24 h mean": cohort_day,
    "1.4 °C over the cohort on the 24 h mean": lambda room: cohort_day(room, 1.4),
    "robust z over the cohort 4.6, held 1 h": cohort_z,
}
ON_WALKS: dict[str, Callable[[Room], tuple[Call, ...]]] = {
    "2.0 °C over the cohort on two walks running": walks_twice,
    "1.5 °C over the cohort on two walks running": lambda room: walks_twice(room, 1.5),
    "Page's sum of the robust z over the cohort, 0.5 and 5": walks_sum,
}
