"""One look at one cohort: all its rows so far in, one verdict for each bag out.

Nothing is carried over but which grid points are worth looking at; so a value taken back, a
bag moved or a changed noise needs no repair, only the next look.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.judge.cohort import (
    STRENGTHS_K,
    Expected,
    Likelihood,
    Scatter,
    Spread,
    expect,
    log_prior,
    scatter,
)
from monitor.judge.curve import HEAT, Grid, onset_steps, shapes
from monitor.judge.filters import whitener
from monitor.judge.likelihood import Design, Precision, Projected, project, reduce_design
from monitor.judge.looks import FEWEST_ROWS, Beliefs, Course, Look, LookParams, Panel
from monitor.judge.odds import Healthy, Onsets, point_shares, weigh_healthy, weigh_onsets

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class _Group:
    """Bags that share one pattern of readings, their design, and their whitened readings."""

    bags: Index
    rows: Index
    stretches: Array
    design: Design
    precision: Precision
    readings: Array


@dataclass(frozen=True)
class _Onsets:
    """Moments at which heat may have set in or got lost [h], how many steps each stands for,
    and what it does: `added` and `lost` (times, onsets)."""

    onset_h: Array
    count: Array
    added: Array
    lost: Array


def search(panel: Panel, grid: Grid, beliefs: Beliefs, params: LookParams) -> Index:
    """The grid points worth a closer look: those the cohort expects and each bag's best."""
    curve = shapes(panel.hours - panel.inoculated_h, grid, beliefs.spread.keep)
    none = np.zeros((len(panel.hours), 0))
    likelihood, _ = _likelihood(panel, grid, beliefs, params, curve, none)
    near = scatter(grid, beliefs.spread)
    told = _for_mates(likelihood, panel, grid, beliefs, params, curve)
    expected = _expected(told, grid, near, beliefs, params, STRENGTHS_K[::2])
    by_bag = point_shares(likelihood, expected, beliefs.spread.wild)
    best = np.argpartition(by_bag, -8, axis=1)[:, -8:].ravel()
    order = np.argsort(expected.weight.sum(axis=0))
    return np.union1d(order[-params.points :], best)


def look(panel: Panel, grid: Grid, beliefs: Beliefs, params: LookParams) -> Look:
    """Judge every bag of the cohort at its last row, on the points of `grid`."""
    onset_h, count = _onsets(panel, params)
    added = onset_steps(panel.times, onset_h, params.rise_h)
    lost = _lost(panel, onset_h, beliefs, params)
    curve = shapes(panel.times - panel.inoculated_h, grid, beliefs.spread.keep)
    columns = np.concatenate([added, lost], axis=1)
    likelihood, groups = _likelihood(panel, grid, beliefs, params, curve, columns)
    near = scatter(grid, beliefs.spread, panel.lead_h)
    told = _for_mates(likelihood, panel, grid, beliefs, params, curve)
    expected = _expected(told, grid, near, beliefs, params, STRENGTHS_K)
    healthy = weigh_healthy(likelihood, expected, beliefs.spread.wild, params.entries)
    onsets = _Onsets(onset_h, count, added, lost)
    return _verdicts(panel, grid, beliefs, params, healthy, expected, groups, curve, onsets)


def _onsets(panel: Panel, params: LookParams) -> tuple[Array, Array]:
    """Onsets considered [h] and how many steps each stands for.

    On a fixed clock, so that they stay where they are; older ones are sparser, since by then
    any of them explains the same.
    """
    step, coarse = params.onset_step_h, params.onset_step_h * params.onset_thinning
    now = panel.hours[-1]
    first = max(panel.hours[0], now - params.onset_reach_h)
    recent = np.floor(max(first, now - params.onset_recent_h) / coarse) * coarse
    old = np.arange(np.ceil(first / coarse) * coarse, recent, coarse)
    new = np.arange(recent, now + 1e-6, step)
    count = np.concatenate([np.full(len(old), params.onset_thinning), np.ones(len(new))])
    return np.concatenate([old, new]), count


def _lost(panel: Panel, onset_h: Array, beliefs: Beliefs, params: LookParams) -> Array:
    """Heat lost from each onset on, all of it: (times, onsets), at most zero."""
    heat = course_heat(panel.times - panel.inoculated_h, beliefs.course, beliefs.spread.keep)
    return -heat[:, None] * onset_steps(panel.times, onset_h, params.loss_h)


def course_heat(age_h: Array, course: Course, keep: float) -> Array:
    """The cohort's heat at each age as surface warmth [K]."""
    one = Grid(np.array([course.peak_h]), np.array([course.rise_h]), 1.0, 1.0)
    heat: Array = course.peak_k * shapes(age_h, one, keep)[:, 0, HEAT]
    return heat


def _likelihood(
    panel: Panel,
    grid: Grid,
    beliefs: Beliefs,
    params: LookParams,
    curve: Array,
    columns: Array,
) -> tuple[Likelihood, list[_Group]]:
    """The likelihood of each bag at each grid point, which makes `curve` (times, grid, 4), with
    `columns` (times, onsets) beside."""
    spread = beliefs.spread
    bags = panel.excess.shape[1]
    corrections = _correction_variance(grid, spread, beliefs.course.peak_k)
    precision, right, rest = (np.zeros((bags, grid.size)) for _ in range(3))
    # No bag follows the curve exactly: what wanders is larger while there is more heat.
    heat = course_heat(panel.hours - panel.inoculated_h, beliefs.course, spread.keep)
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
        groups.append(_Group(members, rows, offsets, design, reduced, readings))
    return Likelihood(precision, right, rest), groups


def _for_mates(
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
    part, _ = _likelihood(replace(panel, excess=excess), grid, beliefs, params, curve, none)
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


def _expected(
    likelihood: Likelihood,
    grid: Grid,
    near: Scatter,
    beliefs: Beliefs,
    params: LookParams,
    strengths_k: Array,
) -> Expected:
    prior = log_prior(grid, beliefs.prior, strengths_k)
    return expect(likelihood, near, prior, strengths_k, beliefs.spread, params.pull)


def _verdicts(
    panel: Panel,
    grid: Grid,
    beliefs: Beliefs,
    params: LookParams,
    healthy: Healthy,
    expected: Expected,
    groups: list[_Group],
    curve: Array,
    onsets: _Onsets,
) -> Look:
    added, onset_h = onsets.added, onsets.onset_h
    bags = panel.excess.shape[1]
    now = len(panel.hours) - 1
    hot, stalled, added_k, lost_k, strength, peak, offset, offset_sd = np.zeros((8, bags))
    onset, lost_h = np.full((2, bags), panel.hours[-1])
    peak[:] = beliefs.course.peak_h
    fit = np.zeros((len(panel.times), bags))
    surprise = np.full((bags, added.shape[1]), np.nan)
    recalled = panel.hours > panel.hours[now] - params.loss_recall_h
    lost = onsets.lost[: now + 1][recalled].min(axis=0)
    course = _course(expected, grid)
    log_onset = np.log(onsets.count / params.planned_onsets)
    for group in groups:
        members = group.bags
        mine = healthy.of(members)
        seen = project(group.precision, group.readings)
        warm, cold = _weigh(group, mine, seen, params, log_onset)
        hot[members] = warm.log_factor
        surprise[members] = warm.surprise
        stalled[members] = cold.log_factor
        added_k[members] = (warm.share * warm.amplitude).sum(axis=1) @ added[now]
        lost_k[members] = (cold.share * cold.amplitude).sum(axis=1) @ -lost
        lost_h[members] = cold.share.sum(axis=1) @ onset_h
        onset[members] = warm.share.sum(axis=1) @ onset_h
        made = _fit(group, grid, mine, seen, warm, curve, added)
        fit[:, members], offset[members], offset_sd[members] = made
        share = mine.share
        peak[members] = (share * grid.peak_h[mine.point]).sum(axis=1)
        strength[members] = (share * mine.right / mine.precision).sum(axis=1) / course.peak_k
    return Look(
        hot,
        stalled,
        added_k,
        onset,
        lost_k,
        lost_h,
        strength,
        peak,
        offset,
        offset_sd,
        surprise,
        fit,
        course,
    )


def _weigh(
    group: _Group,
    healthy: Healthy,
    seen: Projected,
    params: LookParams,
    log_onset: Array,
) -> tuple[Onsets, Onsets]:
    """The evidence for added heat and for lost heat of a group's bags."""
    cut = len(log_onset)
    warm = weigh_onsets(
        healthy,
        group.precision.part(slice(0, cut)),
        seen.onset[:, :, :cut],
        params.added_k,
        log_onset,
    )
    cold = weigh_onsets(
        healthy,
        group.precision.part(slice(cut, None)),
        seen.onset[:, :, cut:],
        params.lost_share,
        log_onset,
    )
    return warm, cold


def _course(expected: Expected, grid: Grid) -> Course:
    by_point = expected.cohort.sum(axis=1)
    return Course(
        float(expected.cohort.sum(axis=0) @ STRENGTHS_K),
        float(by_point @ grid.peak_h),
        float(by_point @ grid.rise_h),
    )


#: Log Bayes factor at which a fit is taken half from the healthy, half from the added model.
_HALF_WAY = 3.0


def _fit(
    group: _Group,
    grid: Grid,
    healthy: Healthy,
    seen: Projected,
    warm: Onsets,
    curve: Array,
    added: Array,
) -> tuple[Array, Array, Array]:
    """The fit at all times (times, bags), the offset now and its standard deviation (bags).

    Healthy and added model are mixed by their evidence, so that a bag with added heat does
    not bend what the room is thought to share.
    """
    cut = added.shape[1]
    mix = 1.0 / (1.0 + np.exp(-np.clip(warm.log_factor - _HALF_WAY, -50.0, 50.0)))
    share = healthy.share * (1.0 - mix)[:, None]
    warm_share = warm.share * mix[:, None, None]
    heat = warm_share * warm.amplitude
    alone = healthy.right / healthy.precision
    cross = group.precision.cross[:, :cut][healthy.point] / healthy.precision[..., None]
    by_entry = share * alone + (warm_share * alone[..., None] - heat * cross).sum(axis=2)
    strength = healthy.onto_grid(by_entry)
    share = healthy.onto_grid(share + warm_share.sum(axis=2))
    by_onset = healthy.onto_grid(heat)
    by_point = seen.products[:, :, 1:].transpose(1, 0, 2)
    free = (by_point @ group.precision.corrections).transpose(1, 0, 2)
    fix_onset = group.precision.fix_onset[:, :, :cut].transpose(0, 2, 1)
    fixed = (by_onset.transpose(1, 0, 2) @ fix_onset).transpose(1, 0, 2)
    corrections = (
        free * share[..., None] - strength[..., None] * group.precision.fix_strength - fixed
    )
    coefficients = np.concatenate([strength[..., None], corrections], axis=2)
    flat = curve.reshape(len(curve), -1) @ coefficients.reshape(len(coefficients), -1).T
    fit = flat + added @ heat.sum(axis=1).T
    left = group.readings - group.design.whitener @ fit[group.rows]
    offsets = group.precision.by_offsets @ left
    last = group.precision.offset_sd[-1]
    fit[group.rows] += group.stretches @ offsets
    beyond = np.setdiff1d(np.arange(len(fit)), group.rows)
    fit[beyond] += offsets[-1]
    return fit, offsets[-1], np.full(len(group.bags), last)
