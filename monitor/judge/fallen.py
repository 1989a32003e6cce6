"""Telling a probe that fell off its bag: from then on it reads the air it hangs in.

Two accounts of each frame are weighed. On the bag: shelf air through the bag's lag, plus a
distance that drifts slowly, with the noise this probe has shown. Fallen: shelf air now, or
through the probe's own few minutes, plus a distance that stays. The weight of the second
against the first is summed since the best moment to have fallen (Page 1954, CUSUM of log
likelihood ratios).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from monitor.judge.local_air import lag_step


@dataclass(frozen=True, slots=True)
class FallenParams:
    """Spreads in K, times in s; `named_at` natural log of the odds that name a fall.

    `drift_k` per square root of 10 min: what a bag's own heat may move its distance from
    the air. `accounts` are tried side by side, each a lag of the probe itself [s] and a
    spread [K]: a probe close to the air probe agrees within 0.12 K, one in another corner or
    read out of step with it within 0.3 K. `most_step` bounds
    what one frame can say; `fee` is taken off every frame, so that a slow change never adds
    up. After `forget_s` without a frame the account begins anew.
    """

    bag_lag_s: float = 9000.0
    drift_k: float = 0.02
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
    forget_s: float = 10800.0


@dataclass(frozen=True, slots=True)
class Seen:
    """One frame of one probe: its end, what the probe read and the air at its shelf [°C]."""

    end_s: float
    value_c: float
    air_c: float


@dataclass(slots=True)
class Follow:
    """How one probe has followed its air; plain data.

    One list item for each of `FallenParams.accounts`: air through that lag [°C], the sum,
    when it last began to rise, and the fallen distance with its variance.
    """

    at_s: float | None = None
    step_s: float = 0.0
    lagged_c: float = 0.0
    distance_k: float = 0.0
    distance_var: float = 1.0
    sd_k: float = 0.0
    frames: int = 0
    fast_c: list[float] = field(default_factory=list)
    sums: list[float] = field(default_factory=list)
    began_s: list[float] = field(default_factory=list)
    apart_k: list[float] = field(default_factory=list)
    apart_var: list[float] = field(default_factory=list)
    fell_s: float | None = None
    fell_as: int = 0
    back: float = 0.0


def surprise(state: Follow, seen: Seen, params: FallenParams) -> float | None:
    """Move the account to this frame; how far the probe is from where its bag would be [K].

    None in the first frame, which only sets the account up. What the surprises of all bags
    of a room have in common is the room (a door, a set-back, a lag unlike the assumed one)
    and is to be taken off before `follow`.
    """
    if state.at_s is None or (seen.end_s - state.at_s > params.forget_s and state.fell_s is None):
        # the bag begins where its probe reads: one brought in cold comes to the air by its lag
        state.at_s, state.lagged_c, state.sd_k = seen.end_s, seen.value_c, params.start_sd_k
        state.distance_k, state.distance_var = 0.0, params.distance_sd_k**2
        state.fast_c = [seen.air_c] * len(params.accounts)
        _start_sums(state, seen.end_s, params)
        return None
    state.step_s, state.at_s = seen.end_s - state.at_s, seen.end_s
    state.lagged_c = lag_step(state.lagged_c, seen.air_c, state.step_s, params.bag_lag_s)
    state.distance_var += params.drift_k**2 * state.step_s / 600.0
    for index, (lag_s, _) in enumerate(params.accounts):
        state.fast_c[index] = lag_step(state.fast_c[index], seen.air_c, state.step_s, lag_s)
    return seen.value_c - state.lagged_c - state.distance_k


def follow(state: Follow, seen: Seen, innovation: float, params: FallenParams) -> None:
    """Weigh one frame, given its surprise less what it has in common with its room [K]."""
    on_bag = _log_density(innovation, state.distance_var + state.sd_k**2)
    weights = _weigh_falls(state, seen, on_bag, params)
    _learn(state, innovation, params)
    if state.fell_s is not None:
        _look_for_return(state, seen, weights[state.fell_as], params)
        return
    best = max(range(len(state.sums)), key=lambda index: state.sums[index])
    if state.sums[best] >= params.named_at:
        state.fell_s, state.fell_as, state.back = state.began_s[best], best, 0.0
        state.distance_var = 1.0


def _weigh_falls(state: Follow, seen: Seen, on_bag: float, params: FallenParams) -> list[float]:
    """This frame's log likelihood ratio of each fallen account; moves their sums."""
    weights = []
    for index, (_, sd_k) in enumerate(params.accounts):
        off = seen.value_c - state.fast_c[index] - state.apart_k[index]
        total = state.apart_var[index] + sd_k**2
        ratio = _log_density(off, total) - on_bag
        ratio = max(-params.most_step, min(params.most_step, ratio))
        if abs(seen.value_c - state.fast_c[index]) > 3 * params.distance_sd_k:
            ratio = -params.most_step  # however ill the bag fits, this is not the air either
        weights.append(ratio)
        if state.fell_s is not None and index == state.fell_as:
            continue
        state.sums[index] += ratio - params.fee
        if state.sums[index] <= 0.0:
            state.sums[index], state.began_s[index] = 0.0, seen.end_s
            state.apart_k[index], state.apart_var[index] = 0.0, params.distance_sd_k**2
        else:
            gain = state.apart_var[index] / total
            state.apart_k[index] += gain * off
            state.apart_var[index] *= 1.0 - gain
    return weights


def _learn(state: Follow, innovation: float, params: FallenParams) -> None:
    """Move the on-bag account, slowly; its noise not at all by what looks like a fall."""
    state.frames += 1
    variance = state.distance_var
    total = variance + state.sd_k**2
    bounded = max(-3.0, min(3.0, innovation / math.sqrt(total))) * math.sqrt(total)
    state.distance_k += variance / total * bounded
    state.distance_var = variance * state.sd_k**2 / total
    if max(state.sums) < 3.0 and state.fell_s is None:
        rate = max(0.03, 1.0 / (state.frames + 4))
        learned = (1 - rate) * state.sd_k**2 + rate * max(0.0, bounded**2 - variance)
        state.sd_k = min(params.most_sd_k, max(params.least_sd_k, math.sqrt(learned)))


def _look_for_return(state: Follow, seen: Seen, weight: float, params: FallenParams) -> None:
    """A probe taped on again leaves the air; frames in which both accounts agree say nothing."""
    index = state.fell_as
    off = abs(seen.value_c - state.fast_c[index] - state.apart_k[index])
    if abs(seen.air_c - state.lagged_c) < 2 * state.sd_k and (off < 3 * params.accounts[index][1]):
        return
    state.back = max(0.0, state.back - weight - params.fee)
    if state.back >= params.back_at:
        state.fell_s, state.back, state.frames = None, 0.0, 0
        _start_sums(state, seen.end_s, params)


def _start_sums(state: Follow, at_s: float, params: FallenParams) -> None:
    count = len(params.accounts)
    state.sums, state.began_s = [0.0] * count, [at_s] * count
    state.apart_k, state.apart_var = [0.0] * count, [params.distance_sd_k**2] * count


def _log_density(off: float, variance: float) -> float:
    return -0.5 * (off * off / variance + math.log(2.0 * math.pi * variance))
