"""One temperature for the whole room, from air probes or, without any, from the bags."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median
from typing import Any

from monitor.values import Frame, Mean, Probe

#: How slowly a probe's own distance from the room is learned; a day evens out its swing.
SETTLE_S = 24 * 3600.0
#: Bags that make a common mode, and frames after which a bag's own distance is known.
FEW_BAGS = 3


@dataclass(frozen=True, slots=True)
class Level:
    """The room in one frame [°C], each probe taken by its usual distance from the room.

    `bags_c` is the common mode of the bags, by the same measure, and `surface_c` their middle
    surface as it is (both None under three bags); `lowest_c` the air
    probe that stands lowest beside its own habit, or the bag of the lower quarter. `tilt_k`
    is how much the lowest shelf has cooled beyond the top one [K], None with one shelf;
    `coldest` the air probe that has cooled most. `from_air` is False where bags had to stand
    in for the air.
    """

    level_c: float
    bags_c: float | None
    surface_c: float | None
    lowest_c: float
    tilt_k: float | None
    coldest: str
    from_air: bool


class RoomLevel:
    """Learns each probe's distance from the room, so that one that drops out moves nothing."""

    def __init__(self) -> None:
        self._air: dict[str, tuple[float, int]] = {}
        self._bags: dict[str, tuple[float, int]] = {}
        self.met_air = False

    def step(
        self,
        frame: Frame,
        probes: Mapping[str, Probe],
        excess_k: Mapping[str, float],
        learn: bool,
    ) -> Level | None:
        """The room's level in a frame, None where nothing spoke. `learn` is off in an upset.

        A bag met for the first time is placed by its own excess [K] where that is known.
        """
        self._keep(probes)
        air = {name: mean for name, mean in frame.air_c.items() if name in probes}
        if air and not self.met_air:
            self._bags = {}  # bags had stood in for air that now tells the level itself
        levels = _levels(air, self._air)
        bag_levels = _levels(frame.surface_c, self._bags)
        bags_c = self._common(bag_levels, frame.length_s)
        if air:
            self.met_air = True
            level_c = math.fsum(levels.values()) / len(levels) if levels else _mean(air)
        elif bags_c is not None:
            level_c = bags_c
        elif frame.surface_c and not self._bags:
            level_c = median(
                mean.mean - excess_k.get(bag, 0.0) for bag, mean in frame.surface_c.items()
            )
        else:
            return None
        self._learn(self._air, air, level_c, frame.length_s, learn)
        self._learn(self._bags, frame.surface_c, level_c, frame.length_s, learn)
        ranked = sorted((temp_c, name) for name, temp_c in (levels or bag_levels).items())
        return Level(
            level_c=level_c,
            bags_c=bags_c,
            surface_c=None
            if bags_c is None
            else median(mean.mean for mean in frame.surface_c.values()),
            lowest_c=ranked[0 if levels else len(ranked) // 4][0] if ranked else level_c,
            tilt_k=_tilt_k(levels, probes),
            coldest=ranked[0][1] if levels else "",
            from_air=bool(air),
        )

    def _common(self, levels: Mapping[str, float], length_s: float) -> float | None:
        """The bags' common mode; newcomers stand aside while others are there."""
        settled = [
            temp_c for bag, temp_c in levels.items() if self._bags[bag][1] * length_s >= SETTLE_S
        ]
        counted = settled if len(settled) >= FEW_BAGS else list(levels.values())
        return median(counted) if len(counted) >= FEW_BAGS else None

    @staticmethod
    def _learn(
        known: dict[str, tuple[float, int]],
        means: Mapping[str, Mean],
        level_c: float,
        length_s: float,
        learn: bool,
    ) -> None:
        """Move distances on: a plain mean at first, then one that forgets within days."""
        slow = -math.expm1(-length_s / SETTLE_S)
        for name, mean in means.items():
            distance_k, count = known.get(name, (0.0, 0))
            if learn or not count:
                weight = max(slow, 1.0 / (count + 1))
                distance_k += (mean.mean - level_c - distance_k) * weight
                known[name] = (distance_k, count + 1)

    def _keep(self, probes: Mapping[str, Probe]) -> None:
        """Forget probes and bags that are no longer in the plan."""
        bags = {probe.bag for probe in probes.values()}
        self._air = {name: known for name, known in self._air.items() if name in probes}
        self._bags = {bag: known for bag, known in self._bags.items() if bag in bags}

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "air": {name: list(known) for name, known in self._air.items()},
            "bags": {bag: list(known) for bag, known in self._bags.items()},
            "met_air": self.met_air,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._air = {name: (float(k), int(n)) for name, (k, n) in state["air"].items()}
        self._bags = {bag: (float(k), int(n)) for bag, (k, n) in state["bags"].items()}
        self.met_air = bool(state["met_air"])


def _mean(means: Mapping[str, Mean]) -> float:
    return math.fsum(mean.mean for mean in means.values()) / len(means)


def _levels(means: Mapping[str, Mean], known: Mapping[str, tuple[float, int]]) -> dict[str, float]:
    """What each known probe says of the room: its value less its usual distance."""
    return {name: mean.mean - known[name][0] for name, mean in means.items() if name in known}


def _tilt_k(levels: Mapping[str, float], probes: Mapping[str, Probe]) -> float | None:
    """How much more than the top shelf the lowest has cooled [K]; None with one shelf."""
    shelves = [
        (place.shelf, temp_c)
        for name, temp_c in levels.items()
        if (place := probes[name]).shelf is not None
    ]
    low = min((shelf for shelf, _ in shelves), default=0)
    high = max((shelf for shelf, _ in shelves), default=0)
    if low == high:
        return None
    lowest = [temp_c for shelf, temp_c in shelves if shelf == low]
    top = [temp_c for shelf, temp_c in shelves if shelf == high]
    return math.fsum(top) / len(top) - math.fsum(lowest) / len(lowest)
