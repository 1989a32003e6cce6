"""Sun, or a lamp, on a bag: its surface rises and falls as no bag can by itself.

What a probe reads meanwhile is of the light and not of the bag. It passes within hours; what
stays is a fault or heat and is judged as before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from monitor.terms import HOUR_S

#: Fewest bags whose middle says what the room does to all of them.
FEW_BAGS = 4


@dataclass(frozen=True, slots=True)
class SunParams:
    """When a bag stands in the sun. Times [s], differences [K].

    It rose by `rise_k` beyond the middle bag within `window_s` (the fastest bags of made-up rooms
    climb 1.4 K in 4 h, one moved to a warmer place 2.3 K), until it is back within `left_k` of
    where it began, and for `longest_s` at most. It is `over_air_k` over its air at least: a probe
    that fell off its bag reads the air and is not taken for one in the sun.
    """

    rise_k: float = 1.5
    window_s: float = HOUR_S
    left_k: float = 0.7
    longest_s: float = 5 * HOUR_S
    over_air_k: float = 1.5


@dataclass(slots=True)
class _Bag:
    """Of one bag its recent (time, surface), and while it is lit since when and from what."""

    recent: list[tuple[float, float]] = field(default_factory=list)
    lit_s: float | None = None
    began_k: float = 0.0


class Sunlight:
    """Tells which bags stand in the sun, or did a moment ago."""

    def __init__(self, params: SunParams | None = None) -> None:
        self._params = params or SunParams()
        self._bags: dict[str, _Bag] = {}

    def step(
        self, end_s: float, surface_c: Mapping[str, float], air_c: Mapping[str, float]
    ) -> frozenset[str]:
        """The bags in the sun at a frame's end, given the surfaces of bags that are not on their
        way to the room, and the air at their shelves [°C]. A silent bag stays as it was."""
        window_s = self._params.window_s
        middle_c = median(surface_c.values()) if len(surface_c) >= FEW_BAGS else 0.0
        for name, value_c in surface_c.items():
            bag = self._bags.setdefault(name, _Bag())
            bag.recent = [one for one in bag.recent if end_s - one[0] <= window_s]
            bag.recent.append((end_s, value_c - middle_c))
            lit = name in air_c and value_c - air_c[name] >= self._params.over_air_k
            self._turn(bag, end_s, lit)
        self._bags = {
            name: bag for name, bag in self._bags.items() if end_s - bag.recent[-1][0] <= window_s
        }
        return frozenset(name for name, bag in self._bags.items() if bag.lit_s is not None)

    def _turn(self, bag: _Bag, end_s: float, may_be_lit: bool) -> None:
        """Whether the bag comes into the sun or leaves it."""
        params, now_k = self._params, bag.recent[-1][1]
        if bag.lit_s is None:
            began_k = min(one_k for _, one_k in bag.recent)
            if may_be_lit and now_k - began_k >= params.rise_k:
                bag.lit_s, bag.began_k = end_s, began_k
        elif (
            not may_be_lit
            or now_k - bag.began_k <= params.left_k
            or end_s - bag.lit_s > params.longest_s
        ):
            bag.lit_s, bag.recent = None, bag.recent[-1:]

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            name: [[list(one) for one in bag.recent], bag.lit_s, bag.began_k]
            for name, bag in self._bags.items()
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._bags = {
            name: _Bag([(at_s, one_k) for at_s, one_k in recent], lit_s, began_k)
            for name, (recent, lit_s, began_k) in state.items()
        }
