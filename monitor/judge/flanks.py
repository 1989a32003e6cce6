"""Warmth that a bag has from a hot bag beside it, and that is no heat of its own.

A film sheds two thirds of its heat by radiation, and what a flank sees of the next bag is
taken from what it sees of the room. So a bag beside one with a fault reads warm too.
"""

from __future__ import annotations

from collections.abc import Mapping

from monitor.judge.neighbours import Places
from monitor.judge.verdicts import Standing
from monitor.values import Bag

#: Most that a surface warms for each kelvin the next bag is too warm. Radiation is 0.6 to 0.7 of
#: what a film sheds and a touching round bag fills 0.18 of the whole side's view (Hottel's crossed
#: strings, `film.open_view_in_row`): 0.12 on the mean of the side, more on the flank that faces it
#: (0.12 to 0.31 seen in made-up rooms).
MOST_LENT = 0.3
#: Log Bayes factor from which a neighbour counts as hot.
SURELY_HOT = 3.0


def lent_k(bag: Bag, places: Places, standing: Mapping[str, Standing]) -> float:
    """The most that hot bags on either side may lend to the surface of `bag` [K]."""
    near = (standing.get(code) for code in places.either_side(bag))
    hot = [one.added_k for one in near if one is not None and one.hot >= SURELY_HOT]
    return MOST_LENT * max(hot, default=0.0)
