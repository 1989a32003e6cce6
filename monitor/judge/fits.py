"""What the judge thinks a bag's warmth is, with and without added heat: the fit and its offset."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.judge.curve import Grid
from monitor.judge.groups import Group
from monitor.judge.likelihood import Projected
from monitor.judge.odds import Healthy, Onsets

Array = NDArray[np.float64]

#: Log Bayes factor at which a fit is taken half from the healthy, half from the added model.
_HALF_WAY = 3.0


def fit_group(
    group: Group,
    grid: Grid,
    healthy: Healthy,
    seen: Projected,
    warm: Onsets,
    curve: Array,
    added: Array,
) -> tuple[Array, Array, float]:
    """The fit at all times (times, bags), the offset now (bags) and its standard deviation [K].

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
    return fit, offsets[-1], float(last)
