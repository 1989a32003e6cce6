"""Bags that share one pattern of readings, and what their readings say of each grid point."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.judge.cohort import Likelihood, Spread
from monitor.judge.curve import HEAT, Grid, shapes
from monitor.judge.filters import whitener
from monitor.judge.likelihood import Design, Precision, project, reduce_design
from monitor.judge.looks import FEWEST_ROWS, Beliefs, Course, LookParams, Panel

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Group:
    """Bags that share one pattern of readings, their design, and their whitened readings."""

    bags: Index
    rows: Index
    stretches: Array
    design: Design
    precision: Precision
    readings: Array


def course_heat(age_h: Array, course: Course, keep: float) -> Array:
    """The cohort's heat at each age as surface warmth [K]."""
    one = Grid(np.array([course.peak_h]), np.array([course.rise_h]), 1.0, 1.0)
    heat: Array = course.peak_k * shapes(age_h, one, keep)[:, 0, HEAT]
    return heat


def likelihood_of(
    panel: Panel,
    grid: Grid,
    beliefs: Beliefs,
    params: LookParams,
    curve: Array,
    columns: Array,
) -> tuple[Likelihood, list[Group]]:
    """The likelihood of each bag at each grid point, which makes `curve` (times, grid, 4), with
    `columns` (times, onsets) beside."""
    spread = beliefs.spread
    bags = panel.excess.shape[1]
    corrections = _correction_variance(grid, spread, beliefs.course.peak_k)
    precision, right, rest = (np.zeros((bags, grid.size)) for _ in range(3))
    # No bag follows the curve exactly: what wanders is larger while there is more heat.
    heat = course_heat(panel.hours - panel.begun_h, beliefs.course, spread.keep)
    larger = np.hypot(1.0, params.misfit * heat / beliefs.noise.wander_k)
    groups = []
    for members, rows in _patterns(panel):
        first = members[0]
        white = panel.white[rows, first] / larger[rows]
        matrix = whitener(panel.hours[rows], beliefs.noise, white) / larger[rows]
        stretch = panel.stretch[rows, first]
        offsets = (stretch[:, None] == np.unique(stretch)).astype(np.float64)
        flat = matrix @ np.concatenate(
            [offsets, columns[rows], curve[rows].reshape(len(rows), -1)], axis=1
        )
        width, wide = offsets.shape[1], columns.shape[1]
        design = Design(
            flat[:, :width],
            flat[:, width + wide :].reshape(len(rows), grid.size, 4),
            flat[:, width : width + wide],
            matrix,
        )
        reduced = reduce_design(design, np.full(width, spread.offset_k**2), corrections)
        readings = matrix @ panel.excess[np.ix_(rows, members)]
        projected = project(reduced, readings)
        precision[members] = reduced.strength
        right[members] = projected.strength
        rest[members] = projected.rest
        groups.append(Group(members, rows, offsets, design, reduced, readings))
    return Likelihood(precision, right, rest), groups


def told_to_mates(
    likelihood: Likelihood,
    panel: Panel,
    grid: Grid,
    beliefs: Beliefs,
    params: LookParams,
    curve: Array,
) -> Likelihood:
    """What each bag tells its mates of the curve they share: one with added heat, only what it
    told before. So a lot that goes bad bag by bag is judged by how it began."""
    warm = np.flatnonzero(np.isfinite(panel.counts_until_h))
    if not len(warm):
        return likelihood
    excess = np.full_like(panel.excess, np.nan)
    before = panel.hours[:, None] < panel.counts_until_h[warm]
    excess[:, warm] = np.where(before, panel.excess[:, warm], np.nan)
    none = np.zeros((len(curve), 0))
    part, _ = likelihood_of(replace(panel, excess=excess), grid, beliefs, params, curve, none)
    return likelihood.with_bags(warm, part)


def _patterns(panel: Panel) -> Iterator[tuple[Index, Index]]:
    """Bags grouped by which rows they have, of what noise and stretch: (bags, rows)."""
    present = np.isfinite(panel.excess)
    groups: dict[bytes, list[int]] = {}
    for bag in range(present.shape[1]):
        if present[:, bag].sum() >= FEWEST_ROWS:
            mask = present[:, bag]
            key = mask.tobytes() + panel.white[mask, bag].tobytes()
            groups.setdefault(key + panel.stretch[mask, bag].tobytes(), []).append(bag)
    for members in groups.values():
        yield np.array(members), np.flatnonzero(present[:, members[0]])


def _correction_variance(grid: Grid, spread: Spread, peak_k: float) -> Array:
    """Prior variances of the corrections between grid points: (grid, 3)."""
    within = grid.peak_step_h**2 / 12.0
    rise = spread.rise**2 + np.log(grid.rise_step) ** 2 / 12.0
    row = peak_k**2 * np.array([within, rise, spread.plateau**2])
    return np.tile(row, (grid.size, 1))
