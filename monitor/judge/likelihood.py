"""What a bag's readings say about each point of the curve grid, everything linear integrated out.

A bag's excess is u = offset + strength x curve + corrections + added heat + noise. Given a
grid point all but the noise is linear with Gaussian priors, so offsets (one per stretch
between handlings) and corrections leave by Schur complement, and what remains is one number
for the curve's strength and one for each onset of added heat.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.judge.curve import HEAT

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Design:
    """Whitened regressors of all bags that share one pattern of readings.

    `offsets` (rows, stretches), `curve` (rows, grid, 4), `onsets` (rows, onsets), and the
    `whitener` (rows, rows) that made them.
    """

    offsets: Array
    curve: Array
    onsets: Array
    whitener: Array


@dataclass(frozen=True)
class Projected:
    """Readings seen through a `Precision`: right-hand sides of the strength (bags, grid) and
    of each onset (bags, grid, onsets), the raw products (bags, grid, 4) that rebuild a fit,
    and what offsets and corrections alone add to the log likelihood (bags, grid)."""

    strength: Array
    onset: Array
    products: Array
    rest: Array


@dataclass(frozen=True)
class Precision:
    """What a `Design` alone says, offsets and corrections integrated out.

    `strength` (grid), `cross` (grid, onsets), `onset` (grid, onsets): precisions of the
    curve's strength, of each onset, and between them. The projections turn readings into
    right-hand sides.
    """

    strength: Array
    cross: Array
    onset: Array
    by_strength: Array
    by_onset: Array
    by_offsets: Array
    fix_strength: Array
    fix_onset: Array
    corrections: Array
    log_volume: Array
    offset_sd: Array

    def part(self, onsets: slice) -> Precision:
        """The same with only some of the onsets."""
        return replace(
            self,
            cross=self.cross[:, onsets],
            onset=self.onset[:, onsets],
            by_onset=self.by_onset[:, onsets],
            fix_onset=self.fix_onset[:, :, onsets],
        )


def reduce_design(design: Design, offset_variance: Array, correction_variance: Array) -> Precision:
    """Integrate offsets and corrections out of `design`.

    `offset_variance` (stretches) [K²]; `correction_variance` (grid, 3), for `LATER`, `WIDER`
    and `PLATEAU`.
    """
    rows, grid, _ = design.curve.shape
    flat = design.curve.reshape(rows, -1)
    inner = design.offsets.T @ design.offsets + np.diag(1.0 / offset_variance)
    keep = np.linalg.solve(inner, design.offsets.T)
    flat = flat - design.offsets @ (keep @ flat)
    onsets = design.onsets - design.offsets @ (keep @ design.onsets)
    # flat and onsets are now (I - B M^-1 B') x: the projection of one side is enough.
    curve = flat.reshape(rows, grid, 4).transpose(1, 2, 0)
    raw = design.curve.transpose(1, 0, 2)
    gram = curve @ raw
    with_onsets = curve @ design.onsets
    own = (onsets * design.onsets).sum(axis=0)
    corrections, log_det = invert(gram[:, 1:, 1:] + _diagonals(1.0 / correction_variance))
    right = np.concatenate([gram[:, 1:, :1], with_onsets[:, 1:]], axis=2)
    solved = corrections @ right
    fix_strength = solved[:, :, 0]
    fix_onset = solved[:, :, 1:]
    return Precision(
        strength=gram[:, HEAT, HEAT] - (gram[:, 1:, HEAT] * fix_strength).sum(axis=1),
        cross=with_onsets[:, HEAT] - (gram[:, None, 1:, HEAT] @ fix_onset)[:, 0],
        onset=own - (with_onsets[:, 1:] * fix_onset).sum(axis=1),
        by_strength=curve,
        by_onset=onsets,
        by_offsets=np.asarray(keep),
        fix_strength=fix_strength,
        fix_onset=fix_onset,
        corrections=corrections,
        log_volume=-0.5 * (log_det + np.log(correction_variance).sum(axis=1)),
        offset_sd=np.sqrt(np.diag(np.linalg.inv(inner))),
    )


def project(precision: Precision, readings: Array) -> Projected:
    """Right-hand sides of whitened `readings` (rows, bags)."""
    by_point = precision.by_strength @ readings
    products = by_point.transpose(2, 0, 1)
    third = by_point[:, 1:].transpose(0, 2, 1)
    strength = products[:, :, HEAT] - (third @ precision.fix_strength[..., None])[..., 0].T
    fixed = (third @ precision.fix_onset).transpose(1, 0, 2)
    onset = (precision.by_onset.T @ readings).T[:, None, :] - fixed
    explained = ((third @ precision.corrections) * third).sum(axis=2).T
    return Projected(strength, onset, products, precision.log_volume + 0.5 * explained)


def invert(matrices: Array) -> tuple[Array, Array]:
    """Inverses and log determinants of symmetric positive definite (n, 3, 3) matrices.

    By cofactors, some ten times as fast as LAPACK on matrices so small.
    """
    (a, b, c), (_, d, e), (_, _, f) = matrices.transpose(1, 2, 0)
    first, second, third = d * f - e * e, c * e - b * f, b * e - c * d
    det = a * first + b * second + c * third
    fourth, fifth, sixth = a * f - c * c, b * c - a * e, a * d - b * b
    rows = np.array([[first, second, third], [second, fourth, fifth], [third, fifth, sixth]])
    return (rows / det).transpose(2, 0, 1), np.log(det)


def _diagonals(values: Array) -> Array:
    """(grid, 3) to a (grid, 3, 3) stack of diagonal matrices."""
    stack = np.zeros((*values.shape, values.shape[1]))
    index = np.arange(values.shape[1])
    stack[:, index, index] = values
    return stack
