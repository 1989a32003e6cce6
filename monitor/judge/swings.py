"""Telling by how it swings, within a day, that a probe fell off where single frames can't.

A coarse probe says next to nothing in one frame (`fallen`). But a bag passes on a tenth or two
of what its air does within the hour, and all bags of a room about the same; a probe in the air
follows it by more, and jitters with whatever the air does faster than it is read. Both are held
against the other bag probes and the probe's own past: how far the slope of probe on air is above
theirs, and how far the logarithm of its jitter, each in units of what it differs among them. A
lag, a door or a draught that all share makes no difference.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.judge.slots import Slots
from monitor.judge.spread import SD_PER_MAD

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Rows = dict[str, Array]
#: Fewest probes that tell how the probes of a room swing, and how much they differ.
FEWEST_MATES = 8
_FEW = 4.0  # a spread told by as many is taken for twice as wide


@dataclass(frozen=True, slots=True)
class SwingParams:
    """Times in s; `named_at` and what ends in `_below` natural logs of odds.

    What is slower than `slow_s` is taken off probe and air: bags warm, cool and stall over
    hours. For the slope what is faster than `quick_s` goes too, as a thermostat switches faster
    than coarse probes are read; that is the jitter. `memory_s` is how long both are remembered,
    `own_frames` how long what is usual for a probe. A probe met anew settles for `settle_s` and
    is weighed from `least_frames` on; so is one unheard for `forget_s`. `kin_frames` say as
    much of a slope as one alone. A fall is a slope of `least_step` over the usual or more and of
    `most_slope` at most, of a probe that reads within `most_apart_k` of the air; one at half as
    much again is on its bag, whatever it does: no air moves a probe further than itself, a bag
    that heats while the air warms does. Odds under `sound_below` are those of a sound probe:
    `early_s` before the last of them it fell; under `usual_below` they tell what is usual for it.
    It is back after `back_s` under `back_below`, as long as a slope is known to within
    `blind_sd`: in air that rests a fallen probe looks like any other.

    Set on 14 made-up rooms, 6 of them of 0.5 °C probes, where no sound probe came over 9.3;
    in 10 more rooms of such probes none came over 8.
    """

    bag_lag_s: float = 9000.0
    quick_s: float = 1800.0
    slow_s: float = 10800.0
    memory_s: float = 43200.0
    own_frames: float = 216.0
    settle_s: float = 10800.0
    least_frames: float = 54.0
    forget_s: float = 3600.0
    kin_frames: float = 2.0
    least_step: float = 0.15
    most_slope: float = 1.0
    most_apart_k: float = 1.5
    most_sd: float = 8.0
    named_at: float = 11.5
    back_below: float = 3.0
    back_s: float = 36000.0
    blind_sd: float = 0.25
    sound_below: float = 1.0
    usual_below: float = 2.0
    early_s: float = 14400.0


class Swings:
    """How every bag probe swings beside its mates and the air.

    One column of `_table` for each probe, a row for each of `_NUMBERS`: when it was last seen
    and when first without a gap [s], the air through the bag's lag [°C], the quick and slow
    means of probe and air beyond that [K], the faded count of frames and sums of air², air
    times probe, probe² and jitter² [K²], its own usual slope and log jitter over its mates',
    when its odds last were those of what it is taken for [s], and since when it is off its bag
    [s], NaN while it is on it.
    """

    def __init__(self, params: SwingParams) -> None:
        self._params = params
        self._slots = Slots()
        self._table: Array = np.zeros((len(_NUMBERS), 0))

    def step(
        self,
        end_s: float,
        probes: list[str],
        values_c: Sequence[float],
        airs_c: Sequence[float],
        moves: Sequence[bool],
    ) -> list[float | None]:
        """Take the frame that ends at `end_s`: what each probe read, the air at its shelf [°C],
        and whether it moves at all. Gives since when [s] each is off its bag, None while it is
        on it."""
        index = self._index(probes)
        now = dict(zip(_NUMBERS, self._table[:, index], strict=True))
        moving = np.array(moves, dtype=bool)
        self._take(now, end_s, np.array(values_c), np.array(airs_c), moving)
        ripe = moving & (now["frames"] >= self._params.least_frames)
        if ripe.sum() >= FEWEST_MATES:
            self._weigh(now, end_s, ripe)
        self._table[:, index] = [now[name] for name in _NUMBERS]
        return [None if isnan(one) else one for one in now["fell_s"].tolist()]

    def forget(self, probe: str) -> None:
        """Begin anew with a probe that was seen to be back on its bag."""
        place = self._slots.place(probe)
        if place is not None:
            self._table[:, place] = _BLANK

    def _index(self, probes: Sequence[str]) -> NDArray[np.intp]:
        """The column of each probe; those met for the first time get one."""
        index = self._slots.index(probes)
        if new := len(self._slots) - self._table.shape[1]:
            blank = np.repeat(_BLANK[:, None], new, axis=1)
            self._table = np.concatenate([self._table, blank], axis=1)
        return index

    def _take(self, now: Rows, end_s: float, value_c: Array, air_c: Array, moving: Mask) -> None:
        """Move means and sums to this frame; the sums fade by the time gone."""
        params = self._params
        step_s = end_s - now["at_s"]
        first, anew = np.isnan(step_s), ~(step_s <= params.forget_s)
        now["at_s"] = np.full(len(step_s), end_s)
        now["began_s"] = np.where(anew, end_s, now["began_s"])
        now["fitted_s"] = np.where(first, end_s, now["fitted_s"])
        now["lagged_c"] += (air_c - now["lagged_c"]) * _gone(step_s, params.bag_lag_s)
        # one met anew stands in the room whose air the others have felt
        behind_k = (now["lagged_c"] - air_c)[~anew]
        now["lagged_c"][anew] = air_c[anew] + (np.median(behind_k) if len(behind_k) else 0.0)
        beyond_k = (value_c - now["lagged_c"], air_c - now["lagged_c"])
        for lag_s, names in ((params.quick_s, _QUICK), (params.slow_s, _SLOW)):
            gone = np.where(anew, 1.0, _gone(step_s, lag_s))
            for name, one_k in zip(names, beyond_k, strict=True):
                now[name] += (one_k - now[name]) * gone
        probe_k, air_k = (now[quick] - now[slow] for quick, slow in zip(_QUICK, _SLOW, strict=True))
        # a steady climb, as of a bag that heats, keeps ahead of both means and is no jitter
        climb_k = probe_k * params.quick_s / (params.slow_s - params.quick_s)
        jitter_k = beyond_k[0] - now["quick_k"] - climb_k
        fades = np.where(first, 0.0, np.exp(-step_s / params.memory_s))
        counts = moving & (end_s - now["began_s"] >= params.settle_s)
        more = (np.ones(len(step_s)), air_k**2, air_k * probe_k, probe_k**2, jitter_k**2)
        for name, square in zip(_SUMS, more, strict=True):
            now[name] = now[name] * fades + counts * square

    def _weigh(self, now: Rows, end_s: float, ripe: Mask) -> None:
        """Name the probes that swing as the air does, release those that swing as mates do."""
        params = self._params
        step, step_sd, louder, louder_sd = self._over_usual(now, ripe)
        odds = 0.5 * (step / step_sd).clip(0.0, params.most_sd) ** 2
        odds += 0.5 * (louder / louder_sd).clip(0.0, params.most_sd) ** 2
        fallen = ~np.isnan(now["fell_s"])
        back = ripe & (odds < params.back_below) & (step_sd <= params.blind_sd)
        fits = np.where(fallen, ~back, ripe & (odds < params.sound_below))
        now["fitted_s"] = np.where(fits, end_s, now["fitted_s"])
        apart_k = np.abs(now["quick_k"] - now["quick_air_k"])
        back = fallen & (end_s - now["fitted_s"] >= params.back_s)
        back |= fallen & (apart_k > 1.5 * params.most_apart_k)
        in_air = apart_k <= params.most_apart_k
        in_air &= now["both"] <= params.most_slope * now["airs"]
        falls = ripe & ~fallen & in_air & (odds >= params.named_at) & (step >= params.least_step)
        fell_s = np.where(falls, now["fitted_s"] - params.early_s, now["fell_s"])
        now["fell_s"] = np.where(back, np.nan, fell_s)
        now["fitted_s"] = np.where(falls | back, end_s, now["fitted_s"])
        learns = (ripe & ~fallen & (odds < params.usual_below)) / params.own_frames
        for name, over in zip(_OWN, (step, louder), strict=True):
            # `over` is beyond an own that is above the mates'; one below them was not taken off
            now[name] += learns * (over - now[name].clip(None, 0.0))

    def _over_usual(self, now: Rows, ripe: Mask) -> tuple[Array, Array, Array, Array]:
        """How far slope and log jitter of each probe are over what is usual for its mates and
        itself, each with its standard deviation; shapes all (probes,)."""
        frames, airs = np.maximum(now["frames"], 1.0), np.maximum(now["airs"], 1e-9)
        # a slope is worth less by what it leaves unexplained, a bag's own heat among it
        left = np.maximum((now["bands"] - now["both"] ** 2 / airs) / frames, 1e-6)
        usual = float(np.median(left[ripe]))
        # and by how much shorter than its mates a probe has been seen
        fewer = np.sqrt(np.maximum(1.0, np.median(frames[ripe]) / frames))
        step, step_sd = _over_mates(now["both"] / airs, ripe)
        least_sd = np.sqrt(self._params.kin_frames * usual / airs)
        step_sd = np.maximum(step_sd, least_sd) * fewer * np.sqrt(np.maximum(1.0, left / usual))
        louder, louder_sd = _over_mates(np.log(np.maximum(now["jitter"] / frames, 1e-6)), ripe)
        louder_sd = np.maximum(louder_sd * fewer, 1.0 / np.sqrt(frames))
        # some probes are always nearer to the air, or noisier, than their mates
        step, louder = step - now["own_step"].clip(0.0), louder - now["own_louder"].clip(0.0)
        return step, step_sd, louder, louder_sd

    def state(self) -> dict[str, list[float | None]]:
        """Plain data from which `restore` goes on exactly."""
        return {
            probe: [None if isnan(one) else one for one in self._table[:, place].tolist()]
            for place, probe in enumerate(self._slots)
        }

    def restore(self, state: Mapping[str, Sequence[Any]]) -> None:
        """Go on from what `state` gave."""
        self._slots = Slots()
        self._table = np.zeros((len(_NUMBERS), 0))
        for place, numbers in zip(self._index(list(state)), state.values(), strict=True):
            self._table[:, place] = [np.nan if one is None else one for one in numbers]


def _gone(step_s: Array, lag_s: float) -> Array:
    """The share of a distance that a first-order lag covers in a step; 0 where none is known."""
    return np.asarray(np.where(np.isnan(step_s), 0.0, -np.expm1(-step_s / lag_s)))


def _over_mates(values: Array, ripe: Mask) -> tuple[Array, Array]:
    """How far each value is over the middle of the ripe ones, and the spread of those."""
    over = values - np.median(values[ripe])
    wider = SD_PER_MAD * (1.0 + _FEW / np.count_nonzero(ripe))
    return over, np.full(len(values), wider * np.median(np.abs(over[ripe])))


_QUICK, _SLOW = ("quick_k", "quick_air_k"), ("slow_k", "slow_air_k")
_SUMS = ("frames", "airs", "both", "bands", "jitter")
_OWN = ("own_step", "own_louder")
_NUMBERS = ("at_s", "began_s", "lagged_c", *_QUICK, *_SLOW, *_SUMS, *_OWN, "fitted_s", "fell_s")
_BLANK = np.array([np.nan, *(0.0 for _ in _NUMBERS[1:-1]), np.nan])
