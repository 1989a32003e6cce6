"""One look at one cohort: all its rows so far in, one verdict for each bag out.

Nothing is carried over but which grid points are worth looking at; so a value taken back, a
bag moved or a changed noise needs no repair, only the next look.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.judge.alike import alike_k
from monitor.judge.cohort import (
    STRENGTHS_K,
    Expected,
    Likelihood,
    Scatter,
    expect,
    log_prior,
    scatter,
)
from monitor.judge.curve import HEAT, Grid, onset_steps, shapes
from monitor.judge.fits import fit_group
from monitor.judge.groups import Group, course_heat, likelihood_of, told_to_mates
from monitor.judge.likelihood import Projected, project
from monitor.judge.looks import AlikeParams, Beliefs, Course, Look, LookParams, Panel
from monitor.judge.odds import (
    Amplitude,
    Healthy,
    Onsets,
    point_shares,
    weigh_healthy,
    weigh_onsets,
    weigh_steps,
)
from monitor.judge.steps import moments, step_shapes

Array = NDArray[np.float64]
Index = NDArray[np.intp]

#: More bags of a cohort than these must have evidence of lost heat before some of it is common.
FEWEST_COOLING = 2


@dataclass(frozen=True)
class _Sound:
    """Bags under the healthy model: the curve's shapes (times, grid, 4), the bags by pattern of
    readings, what their mates expect of them, and what explains each."""

    curve: Array
    groups: list[Group]
    expected: Expected
    healthy: Healthy


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
    curve = shapes(panel.hours - panel.begun_h, grid, beliefs.spread.keep)
    none = np.zeros((len(panel.hours), 0))
    likelihood, _ = likelihood_of(panel, grid, beliefs, params, curve, none)
    near = scatter(grid, beliefs.spread)
    told = told_to_mates(likelihood, panel, grid, beliefs, params, curve)
    expected = _expected(told, grid, near, beliefs, params, STRENGTHS_K[::2])
    by_bag = point_shares(likelihood, expected, beliefs.spread.wild)
    best = np.argpartition(by_bag, -8, axis=1)[:, -8:].ravel()
    order = np.argsort(expected.weight.sum(axis=0))
    return np.union1d(order[-params.points :], best)


def look(panel: Panel, grid: Grid, beliefs: Beliefs, params: LookParams) -> Look:
    """Judge every bag of the cohort at its last row, on the points of `grid`.

    Where one seems hot, what its mates do alike is taken off and all are looked at again. That
    may excuse a bag, it accuses none.
    """
    found, sound = _look(panel, grid, beliefs, params)
    if not _may_be_alike(panel, found, params.alike):
        return found
    alike = _alike(panel, grid, sound, params)
    if np.abs(alike).max() < params.alike.least_k:
        return found
    # The curves have bent towards it: what is left without it shows the rest.
    less = replace(panel, excess=panel.excess - alike)
    bare = _sound(less, grid, beliefs, params, np.zeros((len(panel.times), 0)))
    alike = alike + _alike(less, grid, bare, params)
    again, _ = _look(replace(panel, excess=panel.excess - alike), grid, beliefs, params)
    return replace(
        again,
        hot=np.minimum(found.hot, again.hot),
        stalled=np.minimum(found.stalled, again.stalled),
        fit=again.fit + _held(alike, len(panel.ahead)),
    )


def _may_be_alike(panel: Panel, found: Look, params: AlikeParams) -> bool:
    """Only of bags read by probes: twice a day tells too little of a curve's shape."""
    enough = np.count_nonzero(panel.last_by_probe()) > params.fewest
    return bool(enough and found.hot.max() >= params.worth)


def _look(panel: Panel, grid: Grid, beliefs: Beliefs, params: LookParams) -> tuple[Look, _Sound]:
    onset_h, count = _onsets(panel, params)
    added = onset_steps(panel.times, onset_h, params.rise_h)
    lost = _lost(panel, onset_h, beliefs, params)
    columns = np.concatenate([added, lost], axis=1)
    sound = _sound(panel, grid, beliefs, params, columns)
    found = _verdicts(panel, grid, beliefs, params, sound, _Onsets(onset_h, count, added, lost))
    return _beside_moves(found, panel, grid, beliefs, params, sound), sound


def _held(rows: Array, ahead: int) -> Array:
    """Rows, and the last of them as often as there are rows `ahead`."""
    return np.pad(rows, ((0, ahead), (0, 0)), mode="edge")


def _sound(
    panel: Panel, grid: Grid, beliefs: Beliefs, params: LookParams, columns: Array
) -> _Sound:
    curve = shapes(panel.times - panel.begun_h, grid, beliefs.spread.keep)
    likelihood, groups = likelihood_of(panel, grid, beliefs, params, curve, columns)
    near = scatter(grid, beliefs.spread, panel.lead_h)
    told = told_to_mates(likelihood, panel, grid, beliefs, params, curve)
    expected = _expected(told, grid, near, beliefs, params, STRENGTHS_K)
    healthy = weigh_healthy(likelihood, expected, beliefs.spread.wild, params.entries)
    return _Sound(curve, groups, expected, healthy)


def _alike(panel: Panel, grid: Grid, sound: _Sound, params: LookParams) -> Array:
    """What each bag has alike with its mates and no curve of the grid has: (rows, bags) [K]."""
    left = _left(panel, grid, sound)
    return alike_k(panel, left, sound.healthy.mean(grid.peak_h), params.alike)


def _left(panel: Panel, grid: Grid, sound: _Sound) -> Array:
    """What the healthy fits leave of each reading: (rows, bags) [K], NaN where there is none."""
    left = np.full_like(panel.excess, np.nan)
    none = np.zeros((len(panel.times), 0))
    for group in sound.groups:
        mine = sound.healthy.of(group.bags)
        seen = project(group.precision, group.readings)
        fit, _, _ = fit_group(group, grid, mine, seen, Onsets.none(mine), sound.curve, none)
        rows = np.ix_(group.rows, group.bags)
        left[rows] = panel.excess[rows] - fit[group.rows]
    return left


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
    heat = course_heat(panel.times - panel.begun_h, beliefs.course, beliefs.spread.keep)
    return -heat[:, None] * onset_steps(panel.times, onset_h, params.loss_h)


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
    sound: _Sound,
    onsets: _Onsets,
) -> Look:
    added, onset_h, curve = onsets.added, onsets.onset_h, sound.curve
    bags = panel.excess.shape[1]
    now = len(panel.hours) - 1
    hot, stalled, added_k, lost_k, strength, peak, offset, fit_sd = np.zeros((8, bags))
    onset, lost_h = np.full((2, bags), panel.hours[-1])
    peak[:] = beliefs.course.peak_h
    fit = np.zeros((len(panel.times), bags))
    surprise = np.full((bags, added.shape[1]), np.nan)
    recalled = panel.hours > panel.hours[now] - params.loss_recall_h
    lost = onsets.lost[: now + 1][recalled].min(axis=0)
    course = _course(sound.expected, grid)
    log_onset = np.log(onsets.count / params.planned_onsets)
    for group in sound.groups:
        members = group.bags
        mine = sound.healthy.of(members)
        seen = project(group.precision, group.readings)
        warm, cold = _weigh(group, mine, seen, params, log_onset)
        hot[members] = warm.log_factor
        surprise[members] = warm.surprise
        stalled[members] = cold.log_factor
        added_k[members] = (warm.share * warm.amplitude).sum(axis=1) @ added[now]
        lost_k[members] = (cold.share * cold.amplitude).sum(axis=1) @ -lost
        lost_h[members] = cold.share.sum(axis=1) @ onset_h
        onset[members] = warm.share.sum(axis=1) @ onset_h
        made = fit_group(group, grid, mine, seen, warm, curve, added)
        fit[:, members], offset[members], offset_sd_k = made
        fit_sd[members] = np.hypot(offset_sd_k, mine.level_sd_k(curve[now, :, HEAT]))
        peak[members] = mine.mean(grid.peak_h)
        strength[members] = (mine.share * mine.right / mine.precision).sum(axis=1) / course.peak_k
    return Look(
        hot,
        stalled,
        added_k,
        onset,
        _own_loss(lost_k, stalled),
        lost_h,
        strength,
        peak,
        offset,
        fit_sd,
        surprise,
        fit,
        course,
        np.full(bags, -np.inf),
        np.full(bags, panel.hours[-1]),
    )


def _own_loss(lost_k: Array, stalled: Array) -> Array:
    """What each bag lost beyond what more than half of its mates lost too [K], by the median.

    Where a whole cohort cools together, as late in a run on one walk, no bag of it has stalled. A
    mate counts as having lost heat only if it has evidence of it (`stalled` above 0).
    """
    theirs = np.where(stalled > 0.0, lost_k, 0.0)
    if np.count_nonzero(theirs) <= FEWEST_COOLING:
        return lost_k
    common = [np.median(np.delete(theirs, bag)) for bag in range(len(theirs))]
    return np.asarray(np.maximum(0.0, lost_k - common))


def _beside_moves(
    found: Look,
    panel: Panel,
    grid: Grid,
    beliefs: Beliefs,
    params: LookParams,
    sound: _Sound,
) -> Look:
    """The look with what a move explains taken from the evidence of bags that seem hot or stalled.

    Only of those read by probes: twice a day is too seldom to tell a step from heat.
    """
    since_h = np.where(found.hot > found.stalled, found.onset_h, found.lost_h)
    seems = np.maximum(found.hot, found.stalled) > params.move.worth
    seems &= since_h > panel.hours[-1] - 2.0 * params.move.reach_h
    seems &= panel.last_by_probe()
    if not seems.any():
        return found
    at_h = moments(float(panel.hours[-1]), panel.row_h, params.move)
    columns = step_shapes(panel.times, at_h, panel.row_h, params.move)
    some = replace(panel, excess=np.where(seems, panel.excess, np.nan))
    _, groups = likelihood_of(some, grid, beliefs, params, sound.curve, columns)
    moved, moved_h = found.moved.copy(), found.moved_h.copy()
    for group in groups:
        right = project(group.precision, group.readings).onset
        mine = sound.healthy.of(group.bags)
        weighed = weigh_steps(
            mine, group.precision, right, params.move.size_k, params.move.log_prior
        )
        moved[group.bags], moved_h[group.bags] = weighed[0], at_h[weighed[1].argmax(axis=1)]
    explained = np.logaddexp(0.0, moved)
    return replace(
        found,
        hot=found.hot - explained,
        stalled=found.stalled - explained,
        moved=moved,
        moved_h=moved_h,
    )


def _weigh(
    group: Group,
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
        Amplitude(0.0, params.added_k),
        log_onset,
    )
    cold = weigh_onsets(
        healthy,
        group.precision.part(slice(cut, None)),
        seen.onset[:, :, cut:],
        Amplitude(params.lost_share, params.lost_share_sd),
        log_onset,
        told_by=Amplitude(0.0, params.lost_width),
    )
    return warm, cold


def _course(expected: Expected, grid: Grid) -> Course:
    by_point = expected.cohort.sum(axis=1)
    return Course(
        float(expected.cohort.sum(axis=0) @ STRENGTHS_K),
        float(by_point @ grid.peak_h),
        float(by_point @ grid.rise_h),
    )
