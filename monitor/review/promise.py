"""Is the promise kept: so many false calls per 100 healthy bags and run, and no more?"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from monitor.judge.strain import Strain
from monitor.review.account import bags_of
from monitor.review.outcomes import End
from monitor.review.tune import Room
from monitor.review.tune_rows import exact_interval
from monitor.words.quantities import counted

#: A promise is believed as if it had already been kept over this many false calls.
BELIEVED = 2.0
#: The smallest budget that strains.yaml takes.
LEAST_BUDGET = 0.01


@dataclass(frozen=True, slots=True)
class Promise:
    """One strain, or all together under the name "": `false` of `healthy` bags were called
    where `promised` per 100 were; `low` and `high` hold 80 %. `budget` is what to set were
    false calls in proportion to it, None over all."""

    strain: str
    promised: float
    false: int
    healthy: int
    low: float
    high: float
    budget: float | None

    @property
    def verdict(self) -> str:
        """In words whether it is kept."""
        if not self.healthy:
            return "no healthy bag known yet"
        if self.low > self.promised:
            return "not kept"
        return "kept" if self.high <= 2 * self.promised else "not refuted; more runs will tell"


def promises(rooms: Iterable[Room], strain_of: Callable[[str], Strain]) -> tuple[Promise, ...]:
    """The promise of every strain with a healthy bag, then over all."""
    counts: dict[str, list[int]] = {}
    for room in rooms:
        for name, versions in bags_of([room.account]).items():
            ending = room.endings.get(name)
            if ending is None or ending.end is not End.HEALTHY:
                continue
            count = counts.setdefault(versions[-1].strain, [0, 0])
            count[0] += name in room.called_s
            count[1] += 1
    found = [
        _promise(strain, strain_of(strain).false_calls_per_100, false, healthy, own=True)
        for strain, (false, healthy) in sorted(counts.items())
    ]
    healthy = sum(one.healthy for one in found)
    if not healthy:
        return tuple(found)
    promised = sum(one.promised * one.healthy for one in found) / healthy
    false = sum(one.false for one in found)
    return (*found, _promise("", promised, false, healthy, own=False))


def _promise(strain: str, promised: float, false: int, healthy: int, own: bool) -> Promise:
    low, high = exact_interval(false, healthy)
    budget = None
    if own:
        budget = max(promised / correction(promised, false, healthy), LEAST_BUDGET)
    return Promise(strain, promised, false, healthy, low, high, budget)


def correction(promised: float, false: int, healthy: int) -> float:
    """By what factor false calls come more often than promised; 1 until data say otherwise.

    Source  Poisson counts with a gamma prior of mean 1 worth `BELIEVED` calls (Gelman and
            others, Bayesian Data Analysis, section 2.6)
    """
    return (BELIEVED + false) / (BELIEVED + promised * healthy / 100.0)


def promise_lines(found: Iterable[Promise]) -> list[str]:
    """The promises in words, a line each."""
    lines = []
    for one in found:
        name = one.strain or "all strains"
        healthy = counted(one.healthy, "healthy bag", "healthy bags")
        line = (
            f"{name}: {one.promised:g} false calls per 100 promised, {one.false} of"
            f" {healthy} called ({one.low:.1f} to {one.high:.1f} per 100): {one.verdict}"
        )
        if one.budget is not None and one.verdict == "not kept":
            line += (
                f"; to correct for it by the budget alone, false_calls_per_100: {one.budget:.2g};"
                f" `bagwatt tune {name}` tries that and the other thresholds"
            )
        lines.append(line)
    return lines
