"""How slowly the bags of a strain follow their air, learned from how they did.

A taped probe feels its bag and some of the air: surface = a · lagged air + b · air + what the
bag does by itself, which moves over days and is taken off as a smooth course. The lag is the
one under which that leaves least. Source: least squares, the lag found by trying (profiled
over a and b); its spread by leaving out a day at a time (jackknife, Quenouille and Tukey),
as bags of a room share the errors of a day.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from monitor.judge.local_air import interpolate_air
from monitor.judge.verdicts import thermal_of
from monitor.review.forecast import batch_key
from monitor.review.gather import gather_span
from monitor.review.nights import Window
from monitor.review.records import BagRecord
from monitor.store import Reader
from monitor.terms import DAY_S, HOUR_S
from monitor.thermal.bag import Z80
from monitor.values import Bag

Array = NDArray[np.float64]
#: Means of this long [s]: as they are kept, and long beside a probe's own lag.
STEP_S = 600.0
#: Lags tried [h]; a best one at an end of them is none.
TRIED_H = np.geomspace(0.4, 12.0, 40)
#: What a bag does by itself bends no faster than this [h].
BENDS_H = 36.0
#: A bag brought in cold or warm tells of that first [h]; more days than this tell no more.
SETTLED_H, LONGEST_D = 12.0, 14.0
FEWEST_DAYS = 4
#: More bags of a batch than this tell no more either: they share their air.
MOST_BAGS = 12
#: Air that moves less than this beside its smooth course and its ticking moves no bag [K].
LEAST_AIR_K = 0.25
#: The ticking of a thermostat is evened out over this long [h].
TICKING_H = 2.0
#: A lag known worse than this (1 sd of its logarithm) is not said.
MOST_SPREAD = 0.25


@dataclass(frozen=True, slots=True)
class Lag:
    """A bag's lag behind its air [h], 80 % interval, for the middling bag; `as_described` is
    what mass and filling say of it."""

    lag_h: float
    low_h: float
    high_h: float
    batches: int
    bags: int
    as_described_h: float


@dataclass(frozen=True, slots=True)
class Course:
    """A bag's surface and local air [°C] at times [h]."""

    hours: Array
    surface_c: Array
    air_c: Array


@dataclass(frozen=True, slots=True)
class Seen:
    """What one batch showed: its log lag with its spread, how far its air moved [K], its bags."""

    log_h: float
    spread: float
    air_k: float
    bags: int

    @property
    def tells(self) -> bool:
        return self.air_k >= LEAST_AIR_K and self.spread <= MOST_SPREAD


def lag_of(store: Reader, records: Sequence[BagRecord]) -> Lag | str:
    """The lag that the batches of these bags show, or in words why none can be told.

    records  bags of one strain, sound ones of finished runs
    """
    by_batch = {
        key: list(bags) for key, bags in groupby(sorted(records, key=batch_key), key=batch_key)
    }
    found = []
    for bags in by_batch.values():
        seen = seen_in(courses_of(store, bags))
        if seen is not None:
            found.append((seen, described_h(bags)))
    return together(found, described_h(records) if records else 0.0)


def together(found: Sequence[tuple[Seen, float]], as_described_h: float) -> Lag | str:
    """One lag from what batches showed beside what mass and filling say of them [h].

    Source  random effects, spread between batches by DerSimonian and Laird 1986
    """
    telling = [(seen, described) for seen, described in found if seen.tells]
    if not telling:
        return _why_not([seen for seen, _ in found])
    values = np.array([seen.log_h - math.log(described) for seen, described in telling])
    inside = np.array([seen.spread**2 for seen, _ in telling])
    between = 0.0
    if len(values) > 1:
        weights = 1.0 / inside
        mean = (weights * values).sum() / weights.sum()
        excess = float((weights * (values - mean) ** 2).sum()) - (len(values) - 1)
        scale = float(weights.sum() - (weights**2).sum() / weights.sum())
        between = max(0.0, excess / scale)
    weights = 1.0 / (inside + between)
    middle = float((weights * values).sum() / weights.sum())
    half = Z80 / math.sqrt(float(weights.sum()))
    lag_h = as_described_h * math.exp(middle)
    return Lag(
        lag_h,
        lag_h * math.exp(-half),
        lag_h * math.exp(half),
        len(telling),
        sum(seen.bags for seen, _ in telling),
        as_described_h,
    )


def _why_not(found: Sequence[Seen]) -> str:
    if not found:
        return "no finished run has readings that are still kept, of probes on its bags"
    most_k = max(seen.air_k for seen in found)
    if most_k < LEAST_AIR_K:
        return f"the air was too steady: it moved by {most_k:.2f} K, and {LEAST_AIR_K} K are needed"
    return "the bags did not follow their air closely enough to tell"


def described_h(records: Sequence[BagRecord]) -> float:
    """The time constant of a middling bag, by mass and filling [h]."""
    lags = [thermal_of(one.mass_kg, f"{one.bag_kind} {one.recipe}").lag_s for one in records]
    return float(np.median(lags)) / HOUR_S


def courses_of(store: Reader, records: Sequence[BagRecord]) -> list[Course]:
    """What the probes said of the bags of one batch and of the air at each, in ten-minute means."""
    start_s = min(one.inoculated_s for one in records) + SETTLED_H * HOUR_S
    ended = [at for one in records if (at := one.full_run_s or one.outcome_s) is not None]
    end_s = min(start_s + LONGEST_D * DAY_S, max(ended, default=start_s))
    if end_s - start_s < FEWEST_DAYS * DAY_S:
        return []
    gathered, bags, probes = gather_span(store, Window(start_s, end_s))
    shelves = {
        name: float(place.shelf) if (place := probes[name]).shelf is not None else None
        for name in gathered.air_c()
    }
    air: dict[float, list[tuple[float | None, float]]] = {}
    for name, series in gathered.air_c().items():
        for at_s, value in series:
            air.setdefault(at_s, []).append((shelves[name], value))
    names = {one.bag for one in records}
    seen = gathered.surface_c()
    surface = {name: seen[name] for name in sorted(names & seen.keys())[:MOST_BAGS]}
    return list(_courses(surface, air, bags))


def _courses(
    surface: Mapping[str, Sequence[tuple[float, float]]],
    air: Mapping[float, list[tuple[float | None, float]]],
    bags: Mapping[str, Bag],
) -> Iterable[Course]:
    for name, series in surface.items():
        shelf = bags[name].shelf if name in bags else None
        known = [
            (at_s / HOUR_S, value, interpolate_air(air[at_s], shelf))
            for at_s, value in series
            if at_s in air
        ]
        if len(known) > FEWEST_DAYS * DAY_S / STEP_S / 2:
            yield Course(*np.array(known, dtype=np.float64).T)


def seen_in(courses: Sequence[Course]) -> Seen | None:
    """What the bags of one batch show together; None where they are seen for too short a time."""
    days, left, air_k = [], [], []
    for one in courses:
        if one.hours[-1] - one.hours[0] < FEWEST_DAYS * 24.0:
            continue
        residuals, moved_k = _residuals(one)
        days.append((one.hours[: len(residuals)] // 24.0).astype(int))
        left.append(residuals**2)
        air_k.append(moved_k)
    if not left:
        return None
    every = np.unique(np.concatenate(days))
    by_day = np.zeros((len(every), len(TRIED_H)))
    for numbers, squares in zip(days, left, strict=True):
        np.add.at(by_day, np.searchsorted(every, numbers), squares)
    whole = by_day.sum(axis=0)
    log_h = _lowest(whole)
    without = np.array([_lowest(whole - one) for one in by_day])
    count = len(every)
    spread = math.sqrt((count - 1) / count * float(((without - without.mean()) ** 2).sum()))
    at_an_end = not TRIED_H[1] < math.exp(log_h) < TRIED_H[-2]
    return Seen(log_h, math.inf if at_an_end else spread, float(np.median(air_k)), len(left))


def _lowest(sums: Array) -> float:
    """The log lag at which the sums of squares are least, between those tried (a parabola)."""
    logs = np.log(TRIED_H)
    at = int(np.clip(np.argmin(sums), 1, len(sums) - 2))
    before, here, after = sums[at - 1 : at + 2]
    bend = before - 2.0 * here + after
    off = 0.5 * (before - after) / bend if bend > 0 else 0.0
    return float(logs[at] + np.clip(off, -1.0, 1.0) * (logs[1] - logs[0]))


def _residuals(one: Course) -> tuple[Array, float]:
    """What is left at each moment under each lag tried (moments, lags), and how far the air
    moved beside its smooth course and its ticking [K]."""
    width = max(1, round(TICKING_H * HOUR_S / STEP_S))
    smooth, _ = np.linalg.qr(_bends(one.hours[: len(one.hours) - width + 1]))

    def rest(values: Array) -> Array:
        """What is neither ticking nor smooth. Both are linear, so the bag's law holds for it."""
        sums = np.cumsum(np.vstack((np.zeros((1, values.shape[1])), values)), axis=0)
        even = (sums[width:] - sums[:-width]) / width
        return np.asarray(even - smooth @ (smooth.T @ even))

    air, surface = rest(one.air_c[:, None])[:, 0], rest(one.surface_c[:, None])[:, 0]
    lagged = rest(_lagged(one.hours, one.air_c))
    beside = lagged - np.outer(air, air @ lagged / (air @ air))  # what the air itself leaves
    follows = surface - air * (air @ surface / (air @ air))
    size = np.maximum((beside**2).sum(axis=0), 1e-12)
    left = follows[:, None] - beside * (follows @ beside / size)
    return left, float(air.std())


def _bends(hours: Array) -> Array:
    """Smooth courses: cubic splines with a knot every `BENDS_H` (moments, splines)."""
    from scipy.interpolate import BSpline  # noqa: PLC0415

    pieces = max(2, round(float(hours[-1] - hours[0]) / BENDS_H))
    inner = np.linspace(hours[0], hours[-1], pieces + 1)
    knots = np.concatenate(([hours[0]] * 3, inner, [hours[-1]] * 3))
    return np.asarray(BSpline.design_matrix(hours, knots, 3).toarray())


def _lagged(hours: Array, air_c: Array) -> Array:
    """The air through each lag tried (moments, lags), straight between moments.

    Exact for T' = (air − T) / lag with air on a line (Incropera and DeWitt, lumped capacitance).
    """
    found = np.empty((len(hours), len(TRIED_H)))
    found[0] = air_c[0]
    for row in range(1, len(hours)):
        step_h = hours[row] - hours[row - 1]
        slope = (air_c[row] - air_c[row - 1]) / step_h
        behind = air_c[row - 1] - slope * TRIED_H
        keeps = np.exp(-step_h / TRIED_H)
        found[row] = behind + (found[row - 1] - behind) * keeps + slope * step_h
    return found
