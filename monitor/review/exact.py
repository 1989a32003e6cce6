"""Exact tests on counts, in whole numbers: no approximation decides what a grower throws away.

A 2×2 table asks whether bags of a group are lost more often than the others; margins are
taken as given, so every arrangement of the lost bags among all is equally likely.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache


@dataclass(frozen=True, slots=True)
class Table:
    """Counts of bags: lost and sound inside a group, lost and sound outside it."""

    lost_in: int
    sound_in: int
    lost_out: int
    sound_out: int

    def __post_init__(self) -> None:
        if min(self.lost_in, self.sound_in, self.lost_out, self.sound_out) < 0:
            raise ValueError("a table counts bags: nothing in it can be below 0")

    @property
    def inside(self) -> int:
        return self.lost_in + self.sound_in

    @property
    def lost(self) -> int:
        return self.lost_in + self.lost_out

    @property
    def total(self) -> int:
        return self.lost + self.sound_in + self.sound_out

    @property
    def reachable(self) -> range:
        """What `lost_in` could be with these margins."""
        least = max(0, self.lost - (self.total - self.inside))
        return range(least, min(self.inside, self.lost) + 1)

    @property
    def weights(self) -> list[int]:
        """Ways to have each reachable `lost_in`, each from the one before."""
        outside = self.total - self.inside
        reach = self.reachable
        ways = [math.comb(self.inside, reach.start) * math.comb(outside, self.lost - reach.start)]
        for k in reach[:-1]:
            up = (self.inside - k) * (self.lost - k)
            ways.append(ways[-1] * up // ((k + 1) * (outside - self.lost + k + 1)))
        return ways


@lru_cache(maxsize=16384)
def more_lost(table: Table) -> float:
    """Chance of at least this many lost inside: Fisher's exact test, one-sided.

    Source  Fisher 1935, the lady tasting tea: (3 1 / 1 3) gives 17/70
    """
    least = table.reachable.start
    weights = table.weights
    return float(Fraction(sum(weights[table.lost_in - least :]), sum(weights)))


def differently_lost(table: Table) -> float:
    """Chance of a table no more likely than this one: Fisher's exact test, two-sided.

    Source  Fisher 1935 with the usual rule of small likelihoods; (3 1 / 1 3) gives 34/70
    """
    weights = table.weights
    own = weights[table.lost_in - table.reachable.start]
    return float(Fraction(sum(one for one in weights if one <= own), sum(weights)))


@lru_cache(maxsize=16384)
def least_chance(inside: int, lost: int, total: int) -> float:
    """The smallest chance `more_lost` could ever give with these margins.

    A group whose least is above the level looked for can't be found, so need not be counted
    among those looked at. Source  Tarone 1990, as used by Gilbert 2005 with Benjamini-Hochberg
    """
    most = min(inside, lost)
    return more_lost(Table(most, inside - most, lost - most, total - inside - lost + most))


def more_lost_within(strata: Iterable[Table]) -> float:
    """The one-sided exact test of a common odds ratio of 1 within strata.

    The sum of `lost_in` over strata, its distribution the convolution of theirs; strata that
    allow no choice add nothing, and a chance of 1 says that nothing can be told.
    Source  Gart 1970; Mehta, Patel and Gray 1985
    """
    ways, seen = _summed(strata)
    return float(Fraction(sum(ways[seen:]), sum(ways)))


def differently_lost_within(strata: Iterable[Table]) -> float:
    """The same, two-sided: the chance of a sum no more likely than this one."""
    ways, seen = _summed(strata)
    return float(Fraction(sum(one for one in ways if one <= ways[seen]), sum(ways)))


def _summed(strata: Iterable[Table]) -> tuple[list[int], int]:
    """Ways to reach each sum of `lost_in`, from the least up, and the place of the one seen."""
    ways, place = [1], 0
    for table in strata:
        ways = _convolved(ways, table.weights)
        place += table.lost_in - table.reachable.start
    return ways, place


def _convolved(left: list[int], right: list[int]) -> list[int]:
    product = [0] * (len(left) + len(right) - 1)
    for i, one in enumerate(left):
        for j, other in enumerate(right):
            product[i + j] += one * other
    return product


def odds_ratio(table: Table) -> float:
    """Odds of loss inside over those outside, the conditional maximum likelihood estimate.

    0 or infinity where the table is as one-sided as its margins allow; 1 where they allow
    one table only. Source  Fisher 1935; Cornfield 1956
    """
    least, most = table.reachable.start, table.reachable.stop - 1
    if least == most:
        return 1.0
    if table.lost_in in (least, most):
        return 0.0 if table.lost_in == least else math.inf
    return math.exp(_root(lambda log_odds: _mean(table, log_odds) - table.lost_in))


def odds_interval(table: Table, confidence: float = 0.95) -> tuple[float, float]:
    """Exact interval of the odds ratio: each end is the odds at which the table is a rare one.

    Source  Cornfield 1956, the two one-sided tests inverted
    Raises  ValueError for a confidence outside (0, 1)
    """
    if not 0 < confidence < 1:
        raise ValueError("confidence lies between 0 and 1")
    tail = (1.0 - confidence) / 2.0
    least, most = table.reachable.start, table.reachable.stop - 1
    low, high = 0.0, math.inf
    if table.lost_in > least:
        low = math.exp(_root(lambda at: _upper(table, at, table.lost_in) - tail))
    if table.lost_in < most:
        high = math.exp(_root(lambda at: _upper(table, at, table.lost_in + 1) - (1.0 - tail)))
    return low, high


def _shares(table: Table, log_odds: float) -> list[float]:
    """Fisher's noncentral hypergeometric distribution over the reachable counts."""
    logs = [math.log(w) + k * log_odds for w, k in zip(table.weights, table.reachable, strict=True)]
    top = max(logs)
    raw = [math.exp(one - top) for one in logs]
    total = math.fsum(raw)
    return [one / total for one in raw]


def _mean(table: Table, log_odds: float) -> float:
    shares = _shares(table, log_odds)
    return math.fsum(k * share for k, share in zip(table.reachable, shares, strict=True))


def _upper(table: Table, log_odds: float, from_count: int) -> float:
    return math.fsum(_shares(table, log_odds)[from_count - table.reachable.start :])


def _root(rising: Callable[[float], float]) -> float:
    """Where a rising function of the log odds is 0, by halving."""
    low, high = -60.0, 60.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        if rising(middle) < 0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def adjusted(chances: Sequence[float]) -> list[float]:
    """The chances allowing for how many were looked at (Benjamini and Hochberg 1995).

    Keeping those at or below q keeps the expected share of false ones among them below q.
    """
    order = sorted(range(len(chances)), key=lambda i: chances[i])
    result = [1.0] * len(chances)
    least = 1.0
    for rank in range(len(order), 0, -1):
        index = order[rank - 1]
        least = min(least, chances[index] * len(chances) / rank)
        result[index] = least
    return result


def longest_run(lost: Sequence[bool]) -> tuple[int, int]:
    """(start, length) of the longest unbroken run of lost ones; the first of equals."""
    best, start = (0, 0), 0
    for index, one in enumerate([*lost, False]):
        if one:
            continue
        if index - start > best[1]:
            best = (start, index - start)
        start = index + 1
    return best


@lru_cache(maxsize=16384)
def run_as_long(length: int, lost: int, total: int) -> float:
    """Chance that `lost` among `total` in a row hold an unbroken run of at least `length`.

    The lost ones fall into the sound ones' gaps; gaps that hold `length` or more are taken
    out and in again. Source  inclusion and exclusion, as in Feller 1968 for placings
    Raises  ValueError for counts that are none
    """
    if not (0 <= lost <= total and length >= 1):
        raise ValueError("a run needs 0 <= lost <= total and a length of 1 or more")
    gaps = total - lost + 1
    without = sum(
        (-1) ** j * math.comb(gaps, j) * math.comb(total - j * length, gaps - 1)
        for j in range(min(gaps, lost // length) + 1)
    )
    return float(1 - Fraction(without, math.comb(total, lost)))


@lru_cache(maxsize=16384)
def runs_as_few(runs: int, lost: int, sound: int) -> float:
    """Chance of at most this many runs of either kind when all orders are equally likely.

    Few runs mean that the lost ones stand together. Source  Wald and Wolfowitz 1940
    Check   5 and 5 with 2 runs: 2/252, from 2 to 4 runs: 42/252 (their table: 0.167)
    """
    if lost == 0 or sound == 0:
        return 1.0
    ways = 0
    for count in range(2, runs + 1):
        half, odd = divmod(count, 2)
        if odd:
            ways += math.comb(lost - 1, half) * math.comb(sound - 1, half - 1)
            ways += math.comb(lost - 1, half - 1) * math.comb(sound - 1, half)
        else:
            ways += 2 * math.comb(lost - 1, half - 1) * math.comb(sound - 1, half - 1)
    return float(Fraction(ways, math.comb(lost + sound, lost)))


def count_runs(lost: Sequence[bool]) -> int:
    """Unbroken stretches of either kind."""
    return sum(1 for i, one in enumerate(lost) if i == 0 or one != lost[i - 1])
