"""Which thresholds to propose: the cheapest, held to an anchor where little is known.

The anchor of a strain's thresholds are the shipped ones, that of its core limits the present.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.review.tune_score import Array, Costs, Trials, cost_per_100, own_column

#: As many bad bags speak for the anchor before the farm's own are heard.
ANCHOR_WORTH = 4.0
#: Costs this close are alike: the one nearest to the anchor is taken.
ALIKE = 0.02


@dataclass(frozen=True, slots=True)
class Least:
    """Below these nothing can be told; `bad_word` and `healthy_word` name the bags counted."""

    bad: float = 3.0
    runs: int = 2
    healthy: int = 20
    bad_word: str = "bad"
    healthy_word: str = "healthy bags"
    anchor_word: str = "the shipped"


OF_THRESHOLDS = Least()


@dataclass(frozen=True, slots=True)
class Choice:
    """`index` of the proposed and `fitted` of the cheapest threshold; `trust` from 0 to 1 how
    far the proposal went from the anchor to fitted; `left_out` by run what the other runs chose;
    `why_little` and `why_kept` in words where the anchor is proposed for that."""

    index: int
    fitted: int
    trust: float
    left_out: tuple[int, ...]
    why_little: str = ""
    why_kept: str = ""


def choose(
    trials: Trials,
    places: Array,
    costs: Costs,
    anchor: int,
    least: Least = OF_THRESHOLDS,
    telling: NDArray[np.bool_] | None = None,
) -> Choice:
    """A proposal for the runs of `trials`.

    places   (tried, n) where each threshold lies; near means alike
    anchor   index of where little is known leads
    telling  which of the healthy bags count against `least`; all where left out
    """
    everyone = np.ones(trials.runs)
    fitted = _cheapest(cost_per_100(trials, costs, everyone), places, anchor)
    judge = _Trust(trials, least, telling)
    trust, why_little = judge.of(everyone)
    others = 1.0 - np.eye(trials.runs)
    by_run = cost_per_100(trials, costs, others)
    left_out = tuple(
        _between(places, anchor, _cheapest(by_run[run], places, anchor), judge.of(others[run])[0])
        for run in range(trials.runs)
    )
    index = _between(places, anchor, fitted, trust)
    why_kept = ""
    if index != anchor and not why_little:
        held = cost_per_100(own_column(trials, left_out), costs, everyone)[0]
        plain = cost_per_100(own_column(trials, (anchor,) * trials.runs), costs, everyone)[0]
        if held >= plain:
            why_kept = (
                f"what the other runs choose costs a run left out more than {least.anchor_word} do"
            )
            index = anchor
    return Choice(index, fitted, trust, left_out, why_little, why_kept)


class _Trust:
    """How far to go towards what fits some runs best."""

    def __init__(self, trials: Trials, least: Least, telling: NDArray[np.bool_] | None) -> None:
        self._trials, self._least = trials, least
        self._healthy_run = trials.healthy_run if telling is None else trials.healthy_run[telling]

    def of(self, runs: Array) -> tuple[float, str]:
        """From 0 to 1, and in words why not at all; `runs` how often each counts."""
        trials, least = self._trials, self._least
        weight = trials.weight * runs[trials.bad_run]
        bad = float(weight.sum())
        with_bad = len(set(trials.bad_run[weight > 0].tolist()))
        healthy = int(runs[self._healthy_run].sum())
        if bad < least.bad or with_bad < least.runs or healthy < least.healthy:
            count = int((weight > 0).sum())
            return 0.0, (
                f"too little to tell: {count} {least.bad_word} bag{'' if count == 1 else 's'} in"
                f" {with_bad} run{'' if with_bad == 1 else 's'}, {healthy} {least.healthy_word}"
            )
        return bad / (bad + ANCHOR_WORTH), ""


def _cheapest(cost: Array, places: Array, anchor: int) -> int:
    """The cheapest; of those about as cheap the one nearest to the anchor."""
    alike = cost <= cost.min() * (1.0 + ALIKE) + 1e-9
    apart = ((places - places[anchor]) ** 2).sum(axis=1)
    return int(np.argmin(np.where(alike, apart, np.inf)))


def _between(places: Array, anchor: int, fitted: int, trust: float) -> int:
    """The threshold of the grid nearest to where `trust` leads from the anchor to fitted."""
    goal = places[anchor] + trust * (places[fitted] - places[anchor])
    return int(np.argmin(((places - goal) ** 2).sum(axis=1)))
