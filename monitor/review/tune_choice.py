"""Which thresholds to propose: the cheapest, held to the shipped ones where little is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.review.scan import Thresholds
from monitor.review.tune_score import Array, Costs, Trials, cost_per_100, own_column

#: Below these nothing can be told.
FEWEST_BAD, FEWEST_RUNS, FEWEST_HEALTHY = 3.0, 2, 20
#: As many bad bags speak for the shipped thresholds before the farm's own are heard.
SHIPPED_WORTH = 4.0
#: Costs this close are alike: the one nearest to the shipped thresholds is taken.
ALIKE = 0.02
_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Choice:
    """`index` of the proposed and `fitted` of the cheapest threshold; `trust` from 0 to 1 how
    far the proposal went from shipped to fitted; `left_out` by run what the other runs chose;
    `why_little` and `why_kept` in words where the shipped ones are proposed for that."""

    index: int
    fitted: int
    trust: float
    left_out: tuple[int, ...]
    why_little: str = ""
    why_kept: str = ""


def choose(trials: Trials, tried: Sequence[Thresholds], costs: Costs, shipped: int) -> Choice:
    """A proposal for the runs of `trials`; index `shipped` is where little is known leads."""
    places = _places(tried)
    everyone = np.ones(trials.runs)
    fitted = _cheapest(cost_per_100(trials, costs, everyone), places, shipped)
    trust, why_little = _trust(trials, everyone)
    others = 1.0 - np.eye(trials.runs)
    by_run = cost_per_100(trials, costs, others)
    left_out = tuple(
        _between(places, shipped, _cheapest(by_run[run], places, shipped),
                 _trust(trials, others[run])[0])
        for run in range(trials.runs)
    )  # fmt: skip
    index = _between(places, shipped, fitted, trust)
    why_kept = ""
    if index != shipped and not why_little:
        held = cost_per_100(own_column(trials, left_out), costs, everyone)[0]
        plain = cost_per_100(own_column(trials, (shipped,) * trials.runs), costs, everyone)[0]
        if held >= plain:
            why_kept = "what the other runs choose costs a run left out more than the shipped do"
            index = shipped
    return Choice(index, fitted, trust, left_out, why_little, why_kept)


def _trust(trials: Trials, runs: Array) -> tuple[float, str]:
    """How far to go towards what fits these runs best, and in words why not at all."""
    weight = trials.weight * runs[trials.bad_run]
    bad = float(weight.sum())
    with_bad = len(set(trials.bad_run[weight > 0].tolist()))
    healthy = int(runs[trials.healthy_run].sum())
    if bad < FEWEST_BAD or with_bad < FEWEST_RUNS or healthy < FEWEST_HEALTHY:
        count = int((weight > 0).sum())
        return 0.0, (
            f"too little to tell: {count} bad bag{'' if count == 1 else 's'} in {with_bad}"
            f" run{'' if with_bad == 1 else 's'}, {healthy} healthy bags"
        )
    return bad / (bad + SHIPPED_WORTH), ""


def _places(tried: Sequence[Thresholds]) -> NDArray[np.float64]:
    """Thresholds where equal steps are equally large: logarithms, an hour added to the hold."""
    return np.array(
        [
            (
                np.log(one.least_excess_k),
                np.log(one.false_calls_per_100),
                np.log(one.hold_s + _HOUR_S),
            )
            for one in tried
        ]
    )


def _cheapest(cost: Array, places: Array, shipped: int) -> int:
    """The cheapest; of those about as cheap the one nearest to the shipped."""
    alike = cost <= cost.min() * (1.0 + ALIKE) + 1e-9
    apart = ((places - places[shipped]) ** 2).sum(axis=1)
    return int(np.argmin(np.where(alike, apart, np.inf)))


def _between(places: Array, shipped: int, fitted: int, trust: float) -> int:
    """The threshold of the grid nearest to where `trust` leads from shipped to fitted."""
    goal = places[shipped] + trust * (places[fitted] - places[shipped])
    return int(np.argmin(((places - goal) ** 2).sum(axis=1)))
