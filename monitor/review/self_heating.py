"""What a bag's own warmth takes from its heat: no mycelium heats itself beyond what it survives."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from monitor.judge.strain import CoreLimit
from monitor.thermal.growth import Cardinals, temperature_response

#: Up to here warmth takes nothing from a heat that was told from a bag's own readings [°C].
EASES_FROM_C = 30.0
#: Growth ends no lower than the first and no higher than the second [°C], whatever limits say.
ENDS_FROM_C, ENDS_UNTIL_C = 36.0, 50.0
_HALVINGS = 24


def growth_ends_c(limits: Iterable[CoreLimit]) -> float:
    """Where a strain's growth has fallen to nothing [°C]: the hottest of its core limits.

    Source  growth of cultivated species ends at 36 to 40 °C: shiitake stops above 36, lion's
            mane above 35, *Pholiota adiposa* at 40 (growers' sheets; Mushroom Sci. Biotechnol.
            2003, 11:183); death bands of *Pleurotus* end at 50 °C. Held to 36 to 50, as limits
            that were set low must still be forecast as reached
    """
    hottest_c = max((one.core_c for one in limits), default=ENDS_FROM_C)
    return float(np.clip(hottest_c, ENDS_FROM_C, ENDS_UNTIL_C))


def settled_c(air_c: ArrayLike, excess_k: ArrayLike, ends_c: float) -> NDArray[np.float64]:
    """Where warmth settles [°C] that would be `excess_k` over `air_c` if it took nothing from heat.

    air_c, excess_k  broadcast against each other
    ends_c           growth is nothing from here on, 36 to 50 °C

    The root of T = air + excess · share(T). Up to 30 °C the share is 1: species grow best at 20
    to 30 °C on agar (Zervakis and others 2001), and what lies below is in the heat as it was told
    already. Above it falls as the cardinal temperature model does (Rosso and others 1993), best at
    30 °C: the lenient end of both ranges. A place at which no heat is made can't be the warmest, so
    a core comes to stand below `ends_c` however great its heat was drawn, in air below it.

    Check  22 °C and 6 K: 28 °C, untouched; 22 °C and 40 K, 40 °C: 38.1 °C
    """
    air = np.asarray(air_c, dtype=float)
    free = air + np.asarray(excess_k, dtype=float)
    cardinals = Cardinals(best_c=EASES_FROM_C, most_c=ends_c)
    low, high = np.minimum(air, free), np.maximum(air, free)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        share = temperature_response(np.maximum(middle, EASES_FROM_C), cardinals)
        under = middle < air + (free - air) * share
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.asarray(np.where(free <= EASES_FROM_C, free, 0.5 * (low + high)))
