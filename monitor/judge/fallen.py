"""Telling a probe that fell off its bag: from then on it reads the air it hangs in.

Two accounts of each frame are weighed. On the bag: shelf air through the bag's lag, plus a
distance that drifts slowly, with the noise this probe has shown. Fallen: shelf air now, or
through the probe's own few minutes, plus a distance that stays. The weight of the second
against the first is summed since the best moment to have fallen (Page 1954, CUSUM of log
likelihood ratios).

A coarse probe says next to nothing in one such frame, and its noise is more than what the accounts
allow. For it there is one account more, of the air as it would be felt (`felt_air`), weighed with
the noise its mates show as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import isnan
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.judge.felt_air import FeltAir, FeltParams
from monitor.judge.slots import Slots

Array = NDArray[np.float64]
Rows = NDArray[np.void]
#: Fewest probes whose common surprise is the room's doing.
FEWEST_SHARING = 5
#: Fewest probes whose mean tells how the air is felt.
FEWEST_FEELING = 8
_FELT = -1  # the place of the felt account, after those of a lag


@dataclass(frozen=True, slots=True)
class FallenParams:
    """Spreads in K, times in s; `named_at` natural log of the odds that name a fall.

    `drift_k` per square root of 10 min: what a bag's own heat may move its distance from
    the air, and `unseen_drift_k` while its probe is off it and nothing of it is seen.
    `accounts` are tried side by side, each a lag of the probe itself [s] and a spread [K]: a
    probe close to the air probe agrees within 0.12 K, one in another corner or read out of
    step with it within 0.3 K. `most_step` bounds what one frame can say; `fee` is taken off
    every frame, so that a slow change never adds up. A probe is weighed from `least_frames` on,
    three of its bag's lags: by then one brought in cold has come to its air. After `forget_s`
    without a frame the account begins anew.

    What begins with `felt_` is the account of the air as it is felt: how well that air is known,
    and how far a probe that hangs in it is off, to begin with and by how much more in a frame.
    Set on 14 made-up rooms of 0.5 °C probes, where the sum of no sound probe came over 8.6, and on
    20 of finer ones and 15 made coarse of those, where that of one in 1,600 came over 11.6.
    """

    bag_lag_s: float = 9000.0
    drift_k: float = 0.02
    unseen_drift_k: float = 0.06
    start_sd_k: float = 0.2
    least_sd_k: float = 0.06
    most_sd_k: float = 0.6
    accounts: tuple[tuple[float, float], ...] = (
        (0.0, 0.12),
        (0.0, 0.3),
        (900.0, 0.12),
        (900.0, 0.3),
    )
    distance_sd_k: float = 0.5
    most_step: float = 4.0
    fee: float = 0.2
    named_at: float = 16.0
    back_at: float = 25.0
    least_frames: int = 48
    forget_s: float = 10800.0
    felt: FeltParams = field(default_factory=FeltParams)
    felt_sd_k: float = 0.08
    felt_distance_sd_k: float = 0.3
    felt_drift_k: float = 0.02
    felt_fee: float = 0.05
    felt_named_at: float = 12.5


class Follows:
    """How every bag probe has followed its air.

    One row for each probe: when it was last seen [s], the air through the bag's lag [°C], the
    bag's distance from it with its variance, the noise, and for each of `accounts`, and last for
    the felt one, the air by that account, the sum, when it last began to rise, and the fallen
    distance with its variance. `fell_s` is NaN while it is on its bag.
    """

    def __init__(self, params: FallenParams) -> None:
        self._params = params
        self._slots = Slots()
        self._felt = FeltAir(params.felt)
        many = (len(params.accounts) + 1,)
        self._rows: Rows = np.zeros(
            0,
            [
                *((name, float) for name in _NUMBERS),
                *((name, float, many) for name in _BY_ACCOUNT),
                ("frames", int),
                ("fell_as", int),
            ],
        )
        # a lag of zero follows the air at once
        self._lags_s = np.array([*(max(lag_s, 1e-6) for lag_s, _ in params.accounts), 1e-6])
        self._variances = np.array([*(sd_k**2 for _, sd_k in params.accounts), params.felt_sd_k**2])

        def each(lagged: float, felt: float) -> Array:
            return np.array([*(lagged for _ in params.accounts), felt])

        self._apart_vars = each(params.distance_sd_k**2, params.felt_distance_sd_k**2)
        self._drift_vars = each(0.0, params.felt_drift_k**2)
        self._fees = each(params.fee, params.felt_fee)
        self._bars = each(params.named_at, params.felt_named_at)

    def step(
        self,
        end_s: float,
        probes: list[str],
        values_c: Sequence[float],
        airs_c: Sequence[float],
        moves: Sequence[bool],
    ) -> tuple[list[float], list[float | None]]:
        """Take the frame that ends at `end_s`: what each probe read, the air at its shelf [°C],
        and whether it moves or has given one value for long. Gives each probe's lagged air [°C]
        and since when [s] it is off its bag, None while it is on it.

        What the surprises of all probes have in common is the room (a door, a set-back, a lag
        unlike the assumed one) and is taken off. A value that never moves is stuck, wherever
        the air goes, and is not weighed.
        """
        index = self._index(probes)
        rows, value_c, air_c = self._rows[index], np.array(values_c), np.array(airs_c)
        known = ~self._begin(rows, end_s, value_c, air_c)
        off = self._surprise(rows, end_s, value_c, air_c)
        weighed = known & np.array(moves, dtype=bool)
        on_bag = weighed & np.isnan(rows["fell_s"])
        rows["fast_c"][:, _FELT] = self._felt.step(end_s, probes, value_c, air_c, on_bag)
        shared = off[known].tolist()
        common = median(shared) if len(shared) >= FEWEST_SHARING else 0.0
        room_var = self._room_noise(rows[on_bag])
        some = rows[weighed]
        self._weigh(some, end_s, value_c[weighed], air_c[weighed], off[weighed] - common, room_var)
        rows[weighed] = some
        self._rows[index] = rows
        fell_s = rows["fell_s"].tolist()
        return rows["lagged_c"].tolist(), [None if isnan(one) else one for one in fell_s]

    def _index(self, probes: Sequence[str]) -> NDArray[np.intp]:
        """The row of each probe; those met for the first time get one."""
        index = self._slots.index(probes)
        if new := len(self._slots) - len(self._rows):
            blank = np.zeros(new, self._rows.dtype)
            blank["at_s"] = blank["fell_s"] = np.nan
            self._rows = np.concatenate([self._rows, blank])
        return index

    def _begin(self, rows: Rows, end_s: float, value_c: Array, air_c: Array) -> NDArray[np.bool_]:
        """Set up the accounts of probes met anew; which those are."""
        params = self._params
        long_ago = (end_s - rows["at_s"] > params.forget_s) & np.isnan(rows["fell_s"])
        new: NDArray[np.bool_] = np.isnan(rows["at_s"]) | long_ago
        if new.any():
            # the bag begins where its probe reads: one brought in cold comes to the air by its lag
            rows["at_s"][new], rows["lagged_c"][new] = end_s, value_c[new]
            rows["distance_k"][new], rows["distance_var"][new] = 0.0, params.distance_sd_k**2
            rows["sd_k"][new] = params.start_sd_k
            rows["fast_c"][new] = air_c[new, None]
            self._start_sums(rows, new, end_s)
        return new

    def _surprise(self, rows: Rows, end_s: float, value_c: Array, air_c: Array) -> Array:
        """Move the accounts to this frame; how far each probe is from where its bag would be
        [K]. Those begun in this frame stay as they are."""
        params = self._params
        step_s = end_s - rows["at_s"]
        rows["at_s"] = end_s
        gone = -np.expm1(-step_s / params.bag_lag_s)
        rows["lagged_c"] += (air_c - rows["lagged_c"]) * gone
        drift_k = np.where(np.isnan(rows["fell_s"]), params.drift_k, params.unseen_drift_k)
        rows["distance_var"] += drift_k**2 * step_s / 600.0
        gone = -np.expm1(-step_s[:, None] / self._lags_s)
        rows["fast_c"] += (air_c[:, None] - rows["fast_c"]) * gone
        return np.asarray(value_c - rows["lagged_c"] - rows["distance_k"])

    def _room_noise(self, rows: Rows) -> float | None:
        """What is usual for a probe on its bag [K²], None where they are too few to tell."""
        ripe = rows["sd_k"][rows["frames"] >= self._params.least_frames]
        return float(np.median(ripe)) ** 2 if len(ripe) >= FEWEST_FEELING else None

    def _weigh(
        self,
        rows: Rows,
        end_s: float,
        value_c: Array,
        air_c: Array,
        innovation: Array,
        room_var: float | None,
    ) -> None:
        """Weigh one frame, given the surprises less what they have in common [K]."""
        fallen = ~np.isnan(rows["fell_s"])
        on_bag = _log_density(innovation, rows["distance_var"] + rows["sd_k"] ** 2)
        self._look_for_return(rows, fallen, end_s, value_c, air_c, on_bag)
        self._weigh_falls(rows, fallen, end_s, value_c, innovation, room_var)
        self._learn(rows, fallen, innovation)
        best = (rows["sums"] / self._bars).argmax(axis=1)
        each = np.arange(len(rows))
        falls = ~fallen & (rows["sums"][each, best] >= self._bars[best])
        rows["fell_s"][falls] = rows["began_s"][each, best][falls]
        rows["fell_as"][falls] = best[falls]
        rows["back"][falls] = 0.0

    def _weigh_falls(
        self,
        rows: Rows,
        fallen: NDArray[np.bool_],
        end_s: float,
        value_c: Array,
        innovation: Array,
        room_var: float | None,
    ) -> None:
        """Move the sums of the fallen accounts by their log likelihood ratios in this frame."""
        params, own_var = self._params, rows["sd_k"] ** 2
        # a probe that rested for some hours is no better than its mates
        shown_var = np.maximum(own_var, room_var or 0.0)[:, None]
        noise_var = np.maximum(self._variances, shown_var)
        noise_var[:, _FELT] = self._variances[_FELT] + shown_var[:, 0]
        away = value_c[:, None] - rows["fast_c"]
        off = away - rows["apart_k"]
        total = rows["apart_var"] + noise_var
        on_bag = _log_density(innovation[:, None], rows["distance_var"][:, None] + shown_var)
        ratio = _log_density(off, total) - on_bag
        ratio = ratio.clip(-params.most_step, params.most_step)
        # however ill the bag fits, this is not the air either
        ratio[np.abs(away) > 3 * params.distance_sd_k] = -params.most_step
        ratio[rows["frames"] < params.least_frames] = -params.most_step
        if room_var is None:
            ratio[:, _FELT] = -params.most_step
        sums = rows["sums"] + ratio - self._fees
        gain = rows["apart_var"] / total
        apart_k, apart_var = rows["apart_k"] + gain * off, rows["apart_var"] * (1.0 - gain)
        apart_var += self._drift_vars
        # the account a probe fell by stays as it was when it fell
        open_ = ~(fallen[:, None] & (np.arange(len(self._lags_s)) == rows["fell_as"][:, None]))
        for name, moved, anew in (
            ("apart_k", apart_k, 0.0),
            ("apart_var", apart_var, self._apart_vars),
            ("began_s", rows["began_s"], end_s),
            ("sums", sums, 0.0),
        ):
            rows[name] = np.where(open_, np.where(sums > 0.0, moved, anew), rows[name])

    def _learn(self, rows: Rows, fallen: NDArray[np.bool_], innovation: Array) -> None:
        """Move the on-bag account, slowly; its noise not at all by what looks like a fall."""
        params = self._params
        rows["frames"] += 1
        variance, noise = rows["distance_var"].copy(), rows["sd_k"] ** 2
        total = variance + noise
        root = np.sqrt(total)
        bounded = (innovation / root).clip(-3.0, 3.0) * root
        # a probe off its bag tells nothing of how far the bag is from the air
        rows["distance_k"] += np.where(fallen, 0.0, variance / total * bounded)
        rows["distance_var"] = np.where(fallen, variance, variance * noise / total)
        quiet = (rows["sums"].max(axis=1, initial=0.0) < 3.0) & ~fallen
        rate = np.maximum(0.03, 1.0 / (rows["frames"] + 4))
        learned = (1.0 - rate) * noise + rate * np.maximum(0.0, bounded**2 - variance)
        sd_k = np.sqrt(learned).clip(params.least_sd_k, params.most_sd_k)
        rows["sd_k"] = np.where(quiet, sd_k, rows["sd_k"])

    def _look_for_return(
        self,
        rows: Rows,
        fallen: NDArray[np.bool_],
        end_s: float,
        value_c: Array,
        air_c: Array,
        on_bag: Array,
    ) -> None:
        """A probe taped on again leaves the air; frames in which both agree say nothing."""
        if not fallen.any():
            return
        params, each, fell_as = self._params, np.arange(len(rows)), rows["fell_as"]
        apart_k = rows["apart_k"][each, fell_as, None]
        apart_var = rows["apart_var"][each, fell_as, None]
        # it may follow the air by any account, and a coarse probe strays from the air it hangs
        # in by no less than it did from its bag
        off = value_c[:, None] - rows["fast_c"] - apart_k
        variance = np.maximum(self._variances, rows["sd_k"][:, None] ** 2)
        in_air = _log_density(off, apart_var + variance).max(axis=1)
        weight = (on_bag - in_air).clip(-params.most_step, params.most_step)
        agree = np.abs(air_c - rows["lagged_c"]) < 2 * rows["sd_k"]
        agree &= (np.abs(off) < 3 * np.sqrt(variance)).any(axis=1)
        back = np.maximum(0.0, rows["back"] + weight - params.fee)
        rows["back"] = np.where(fallen & ~agree, back, rows["back"])
        returned = fallen & ~agree & (back >= params.back_at)
        rows["fell_s"][returned] = np.nan
        rows["back"][returned], rows["frames"][returned] = 0.0, 0
        self._start_sums(rows, returned, end_s)

    def _start_sums(self, rows: Rows, which: NDArray[np.bool_], at_s: float) -> None:
        rows["sums"][which], rows["began_s"][which] = 0.0, at_s
        rows["apart_k"][which], rows["apart_var"][which] = 0.0, self._apart_vars

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        probes = {
            probe: {
                name: None if name == "fell_s" and np.isnan(row[name]) else row[name].tolist()
                for name in self._rows.dtype.names or ()
            }
            for probe, row in zip(self._slots, self._rows, strict=True)
        }
        return {"probes": probes, "felt": self._felt.state()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._slots, self._rows = Slots(), self._rows[:0]
        self._felt.restore(state["felt"])
        probes: Mapping[str, Mapping[str, Any]] = state["probes"]
        for place, row in zip(self._index(list(probes)), probes.values(), strict=True):
            for name, value in row.items():
                self._rows[name][place] = np.nan if value is None else value


def _log_density(off: Array, variance: Array) -> Array:
    return np.asarray(-0.5 * (off * off / variance + np.log(2.0 * np.pi * variance)))


_NUMBERS = ("at_s", "lagged_c", "distance_k", "distance_var", "sd_k", "fell_s", "back")
_BY_ACCOUNT = ("fast_c", "sums", "began_s", "apart_k", "apart_var")
