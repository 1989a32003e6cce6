"""Warmth that a bag has from the bags beside it, and that is no heat of its own.

A film sheds two thirds of its heat by radiation, and what a flank sees of the next bag is
taken from what it sees of the room. So a bag beside one with a fault reads warm too, and so does
one beside a sound bag of a faster strain at its peak.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.judge.history import BY_PROBE, History
from monitor.judge.neighbours import Places
from monitor.judge.verdicts import Standing
from monitor.values import Bag

Array = NDArray[np.float64]

#: What a surface is warmer by for each kelvin that the bags on either side are in the mean: two
#: thirds of what a film sheds is radiation, and of a side's view 0.12 is its neighbours'
#: (`VerdictParams.open_view`). Learned room by room it did no better (DEVELOPERS.md, "The bars").
USUALLY_LENT = 0.08
#: Most that a surface warms for each kelvin the next bag is too warm. Radiation is 0.6 to 0.7 of
#: what a film sheds and a touching round bag fills 0.18 of the whole side's view (Hottel's crossed
#: strings, `film.open_view_in_row`): 0.12 on the mean of the side, more on the flank that faces it
#: (0.12 to 0.31 seen in made-up rooms).
MOST_LENT = 0.3
#: Log Bayes factor from which a neighbour counts as hot.
SURELY_HOT = 3.0


def usually_lent_k(
    history: History, members: Sequence[str], bags: Mapping[str, Bag], places: Places
) -> Array:
    """What each of `members` has from the bags beside it beyond what its mates have, as bags
    usually lend: (rows, members) [K]. A free side lends nothing.

    Where the bags stand now is where they are taken to have stood.
    """
    beside_k = np.zeros((len(history.bins), len(members)))
    for place, name in enumerate(members):
        for other in places.either_side(bags[name]):
            column = history.column(other)
            if column is not None:
                beside_k[:, place] += 0.5 * _warmth_k(history, column)
    return np.asarray(USUALLY_LENT * (beside_k - np.median(beside_k, axis=1, keepdims=True)))


def _warmth_k(history: History, column: int) -> Array:
    """A bag's warmth in each row as its probe read it, else as its fit has it, else none [K]."""
    read, fit = history.excess[:, column], history.predicted[:, column]
    by_probe = np.isfinite(read) & (history.means[:, column] == BY_PROBE)
    return np.where(by_probe, read, np.where(np.isfinite(fit), fit, 0.0))


def lent_k(bag: Bag, places: Places, standing: Mapping[str, Standing]) -> float:
    """The most that hot bags on either side may lend to the surface of `bag` beyond what bags
    usually lend [K]."""
    near = (standing.get(code) for code in places.either_side(bag))
    hot = [one.added_k for one in near if one is not None and one.hot >= SURELY_HOT]
    return (MOST_LENT - 0.5 * USUALLY_LENT) * max(hot, default=0.0)
