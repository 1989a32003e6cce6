"""How each threshold would have fared: caught, false calls, warning and expected cost, in arrays.

Bad bags taken out before a threshold called them are censored there, not missed: the share
caught is a product-limit estimate (Kaplan and Meier 1958) over days since the first moment at
which any threshold tried calls the bag.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.terms import DAY_S, HOUR_S

Array = NDArray[np.float64]
#: For how long a bag that nothing calls stands among its neighbours [days]: common practice,
#: no source; a mouldy bag is seen on a walk within a week or so.
SEEN_BY_EYE_D = 7.0


@dataclass(frozen=True, slots=True)
class Costs:
    """In the farm's own money: a bad bag that nothing called, a walk to a sound bag, and what
    a bad bag does to its neighbours for each day it stands there."""

    lost_bag: float
    needless_walk: float
    neighbour_per_day: float


@dataclass(frozen=True)
class Trials:
    """Bags with a known end under every threshold tried.

    Of bad bags: `day` (bad, tried) days from the first moment any threshold calls it to the
    call, or to where it was last seen; `called` whether it was a call; `warning_h` (bad,
    tried) hours from the call until somebody found it, NaN without; `weight` (bad) 1 for
    surely, less for maybe; `bad_run` its run. Of healthy bags: `false` (healthy, tried)
    whether called, and `healthy_run`. Runs are numbered from 0.
    """

    day: Array
    called: NDArray[np.bool_]
    warning_h: Array
    weight: Array
    bad_run: NDArray[np.intp]
    false: NDArray[np.bool_]
    healthy_run: NDArray[np.intp]
    runs: int


@dataclass(frozen=True, slots=True)
class Spoilt:
    """A bad bag at `place`: a call was of use `until_s`, in fact it came at `live_s` (inf for
    never), and it counts `weight`."""

    place: int
    until_s: float
    live_s: float
    weight: float


def trials_of(
    first_s: Array,
    spoilt: Sequence[Spoilt],
    false: NDArray[np.bool_],
    healthy: Sequence[int],
    runs: NDArray[np.intp],
) -> Trials:
    """The bags with a known end, as arrays.

    first_s  (bags, tried) when each bag is first called [s since 1970], inf for never
    false    (healthy, tried) whether each of the bags at the places `healthy` is a false call
    runs     (bags) the run of each
    """
    shape = (len(spoilt), first_s.shape[1])
    day, warning_h = np.full(shape, np.inf), np.full(shape, np.nan)
    called = np.zeros(shape, dtype=np.bool_)
    for row, one in enumerate(spoilt):
        first = np.where(first_s[one.place] <= one.until_s, first_s[one.place], np.inf)
        called[row] = np.isfinite(first)
        if not called[row].any():
            continue
        began_s = first.min()
        cut_s = one.until_s if one.live_s <= one.until_s else np.inf
        day[row] = (np.where(called[row], first, cut_s) - began_s) / DAY_S
        warning_h[row] = np.where(called[row], (one.until_s - first) / HOUR_S, np.nan)
    warning_h[~np.isfinite(warning_h)] = np.nan
    return Trials(
        day=day,
        called=called,
        warning_h=warning_h,
        weight=np.array([one.weight for one in spoilt]),
        bad_run=runs[[one.place for one in spoilt]],
        false=false,
        healthy_run=runs[list(healthy)],
        runs=int(runs.max(initial=0)) + 1,
    )


def caught_and_days(day: Array, called: NDArray[np.bool_], weight: Array) -> tuple[Array, Array]:
    """Share caught, and mean days until caught or seen by eye, under each threshold.

    day, called  (bad, tried), see `Trials`
    weight       (..., bad) how often each bag counts; 0 leaves it out
    Returns      two arrays (..., tried); a share of NaN where no bag counts
    Source       product-limit estimate, Kaplan and Meier 1958; calls before censorings of a day
    """
    bad, tried = day.shape
    order = np.lexsort((~called, day), axis=0)
    days = np.take_along_axis(day, order, axis=0)
    calls = np.take_along_axis(called, order, axis=0)
    weights = weight[..., order]
    risk = np.flip(np.cumsum(np.flip(weights, axis=-2), axis=-2), axis=-2)
    survival = np.ones((*weight.shape[:-1], tried))
    total = np.zeros_like(survival)
    before = np.zeros(tried)
    for step in range(bad):
        at = np.minimum(days[step], SEEN_BY_EYE_D)
        total += survival * (at - before)
        before = at
        share = np.divide(
            weights[..., step, :],
            risk[..., step, :],
            out=np.zeros_like(survival),
            where=risk[..., step, :] > 0,
        )
        survival = survival * np.where(calls[step], 1.0 - share, 1.0)
    total += survival * (SEEN_BY_EYE_D - before)
    nobody = weight.sum(axis=-1, keepdims=True) <= 0
    return np.where(nobody, np.nan, 1.0 - survival), np.where(nobody, 0.0, total)


def cost_per_100(trials: Trials, costs: Costs, runs: Array) -> Array:
    """Expected cost of 100 bags under each threshold.

    runs     (..., runs) how often each run counts (resampled, or 0 to leave one out)
    Returns  (..., tried)
    """
    weight = trials.weight * runs[..., trials.bad_run]
    caught, days = caught_and_days(trials.day, trials.called, weight)
    healthy = runs[..., trials.healthy_run]
    walks = healthy @ trials.false.astype(np.float64)
    bad = weight.sum(axis=-1)[..., None]
    missed = np.where(bad > 0, 1.0 - np.nan_to_num(caught), 0.0)
    lost = bad * (costs.lost_bag * missed + costs.neighbour_per_day * days)
    bags = bad + healthy.sum(axis=-1)[..., None]
    return np.asarray(100.0 * (lost + costs.needless_walk * walks) / np.maximum(bags, 1.0))


def own_column(trials: Trials, chosen: Sequence[int]) -> Trials:
    """Every run under the threshold chosen for it: one column of trials.

    `chosen` by run is the index of a threshold, as one left out is tried on what the others
    chose.
    """
    pick = np.asarray(chosen)
    bad = pick[trials.bad_run][:, None]
    healthy = pick[trials.healthy_run][:, None]
    return Trials(
        day=np.take_along_axis(trials.day, bad, axis=1),
        called=np.take_along_axis(trials.called, bad, axis=1),
        warning_h=np.take_along_axis(trials.warning_h, bad, axis=1),
        weight=trials.weight,
        bad_run=trials.bad_run,
        false=np.take_along_axis(trials.false, healthy, axis=1),
        healthy_run=trials.healthy_run,
        runs=trials.runs,
    )
