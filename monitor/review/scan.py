"""Hundreds of thresholds at once: when each bag would first have been called under each.

`judge.calls.Calls` over bags and candidates in arrays. Evidence stands still between two
looks, so time goes in stretches, not in frames.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from monitor.judge.calls import CallParams
from monitor.judge.strain import Strain
from monitor.review.account import Account, walk
from monitor.values import Bag, Evidence, Reason

Array = NDArray[np.float64]
#: Accounts are laid one behind another on one axis of time, this far apart [s].
_APART_S = 1e10


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What the grower sets of a strain: K, false calls per 100 bags and run, s."""

    least_excess_k: float
    false_calls_per_100: float
    hold_s: float

    @staticmethod
    def of(strain: Strain) -> Thresholds:
        return Thresholds(strain.least_excess_k, strain.false_calls_per_100, strain.hold_s)


#: Columns of a stretch: first and last frame, evidence, whether a start or an end is barred, and
#: since when what it tells holds.
_FIRST, _LAST, _HOT, _HOT_NEEDED, _STALLED, _STALLED_NEEDED, _EXCESS, _STATE, _SINCE = range(9)
_WIDTH = _SINCE + 1
_PLAIN, _HANDLED, _UNSEEN, _RESET = range(4)


@dataclass(frozen=True, slots=True)
class Stretches:
    """Stretches of unchanged evidence of bags of one strain, in arrays padded with NaN.

    `bags` (account number, bag); `values` (bags, stretches, 9), times on one axis;
    `frames` every frame's end on that axis; `budget` [false calls per 100] of the needed.
    """

    bags: tuple[tuple[int, str], ...]
    values: Array
    frames: Array
    budget: float

    @property
    def usable(self) -> NDArray[np.bool_]:
        """(bags, stretches) where the bag was in sight with evidence to weigh."""
        state = self.values[:, :, _STATE]
        return np.asarray((state == _PLAIN) | (state == _HANDLED))

    def course(self, place: int) -> tuple[Array, Array]:
        """Times [s since 1970] and excess [K] of the bag at `place`, stretch by stretch."""
        rows = self.values[place][self.usable[place]]
        return rows[:, _FIRST] - self.bags[place][0] * _APART_S, rows[:, _EXCESS]


@dataclass(slots=True)
class _Course:
    """One bag as `Calls` sees it over time, in stretches; `offset_s` where its account lies."""

    offset_s: float
    rows: list[list[float]] = field(default_factory=list)
    evidence: Evidence | None = None
    seen_s: float = 0.0
    unseen: bool = False

    def frame(self, at_s: float, before_s: float, evidence: Evidence, void: bool) -> None:
        """Take a frame at which something may have changed; the one before ends at `before_s`."""
        self.close(before_s)
        state = float(_PLAIN)
        self.unseen = evidence.reason is Reason.NO_SIGNAL or evidence.excess_k is None
        if self.unseen:
            lost = void or at_s - self.seen_s > CallParams().keep_unseen_s
            state = float(_RESET if lost else _UNSEEN)
        elif evidence.reason is Reason.HANDLED:
            state = float(_HANDLED)
        if evidence is self.evidence and self.rows[-1][_STATE] == state:
            return
        self.evidence = evidence
        first_s = at_s + self.offset_s
        self.rows.append(
            [
                first_s, first_s, evidence.hot, evidence.hot_needed, evidence.stalled,
                evidence.stalled_needed, evidence.excess_k or 0.0, state,
                first_s if evidence.walk_s is None else evidence.walk_s + self.offset_s,
            ]
        )  # fmt: skip

    def close(self, last_s: float) -> None:
        """The open stretch ends with the frame at `last_s`; a bag in sight was seen then."""
        if not self.rows:
            return
        self.rows[-1][_LAST] = max(self.rows[-1][_FIRST], last_s + self.offset_s)
        if self.rows[-1][_STATE] in (_PLAIN, _HANDLED):
            self.seen_s = self.rows[-1][_LAST] - self.offset_s

    def leave(self, before_s: float) -> None:
        """The bag is out: whatever held is forgotten."""
        if self.rows and self.rows[-1][_STATE] != _RESET:
            self.close(before_s)
            last_s = self.rows[-1][_LAST]
            self.rows.append([last_s, last_s, 0.0, 0.0, 0.0, 0.0, 0.0, float(_RESET), last_s])
        self.evidence, self.unseen = None, False


def stretches(
    accounts: Sequence[Account], strain: str, strain_of: Mapping[str, Strain]
) -> Stretches:
    """The stretches of all bags of a strain that the accounts hold."""
    found: dict[tuple[int, str], _Course] = {}
    frames: list[float] = []
    for number, account in enumerate(accounts):
        offset_s = number * _APART_S
        frames += [frame.end_s + offset_s for frame in account.frames]
        courses = _courses(account, strain, strain_of, offset_s)
        found |= {(number, name): course for name, course in courses.items()}
    most = max((len(course.rows) for course in found.values()), default=0)
    values = np.full((len(found), most, _WIDTH), np.nan)
    for place, course in enumerate(found.values()):
        values[place, : len(course.rows)] = course.rows
    budget = strain_of[strain].false_calls_per_100
    return Stretches(tuple(found), values, np.array(frames), budget)


def _courses(
    account: Account, strain: str, strain_of: Mapping[str, Strain], offset_s: float
) -> dict[str, _Course]:
    """The courses of a strain's bags; a bag is only looked at where something may be new."""
    every = (pair for frame in account.frames for pair in frame.bags.items())
    ours = {name for name, bag in every if bag.strain == strain}
    found: dict[str, _Course] = {}
    bags: Mapping[str, Bag] = {}
    before_s = 0.0
    for frame, verdicts, bags in walk(account, strain_of, ours):
        void = {one.bag for one in frame.faults if one.reason is not Reason.PROBE_SILENT}
        gone = set(frame.gone)
        if frame.budgets:
            gone |= found.keys() - bags.keys()
        for name in gone & found.keys():
            found[name].leave(before_s)
        unseen = {name for name, course in found.items() if course.unseen}
        for name in sorted((frame.evidence.keys() & ours) | unseen):
            if name in verdicts:
                course = found.setdefault(name, _Course(offset_s))
                course.frame(frame.end_s, before_s, verdicts[name][1], name in void)
        before_s = frame.end_s
    for name, course in found.items():
        if name in bags:
            course.close(before_s)
    return found


def first_calls(kept: Stretches, candidates: Sequence[Thresholds]) -> Array:
    """When each bag is first called hot or stalled: (bags, candidates) [s since 1970], inf never.

    Exactly what `Calls` gives, for bags whose evidence is stepped at every frame.
    """
    called = np.full((len(kept.bags), len(candidates)), np.inf)
    if not called.size:
        return called
    least = np.array([one.least_excess_k for one in candidates])
    shift = np.log(kept.budget / np.array([one.false_calls_per_100 for one in candidates]))
    hold_s = np.array([one.hold_s for one in candidates])
    for odds, needed, sign in ((_HOT, _HOT_NEEDED, 1.0), (_STALLED, _STALLED_NEEDED, -1.0)):
        over = kept.values[:, :, odds] - kept.values[:, :, needed]
        off_k = sign * kept.values[:, :, _EXCESS]
        some = (over >= shift.min() - 1e-9) & (off_k >= least.min())
        near = np.flatnonzero(some.any(axis=1))
        if len(near):
            parts = kept.values[near], over[near], off_k[near]
            found = _first_held(*parts, kept.frames, least, shift, hold_s)
            called[near] = np.minimum(called[near], found)
    offsets = np.array([number * _APART_S for number, _ in kept.bags])
    return np.asarray(called - offsets[:, None])


def _first_held(
    values: Array,
    over: Array,
    off_k: Array,
    frames: Array,
    least: Array,
    shift: Array,
    hold_s: Array,
) -> Array:
    """The first frame at which a bar has been held for long enough, on the axis of `frames`."""
    shape = (len(values), len(least))
    called = np.full(shape, np.inf)
    past = np.full(shape, np.inf)
    for step in range(values.shape[1]):
        row = values[:, step]
        state = row[:, _STATE]
        live = np.flatnonzero((state == _PLAIN) | (state == _HANDLED))
        past[state == _RESET] = np.inf
        if not len(live):
            continue
        holds = (over[live, step, None] >= shift) & (off_k[live, step, None] >= least)
        handled = (state[live] == _HANDLED)[:, None]
        before = past[live]
        began = np.where(handled, np.inf, row[live, _SINCE, None])
        after = np.where(holds, np.minimum(before, began), np.where(handled, before, np.inf))
        past[live] = after
        due = np.maximum(after + hold_s, row[live, _FIRST, None])
        new = (due <= row[live, _LAST, None]) & np.isinf(called[live])
        where, which = np.nonzero(new)
        if len(where):
            called[live[where], which] = frames[np.searchsorted(frames, due[where, which])]
    return called
