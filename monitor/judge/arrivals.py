"""Bags brought in far warmer or colder than the room, until they have come to its air.

A load straight from the steriliser cools for a day. That is no heat of its own and no fault of
its probes, and the bags beside it are not to be held against it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import median
from typing import Any

from monitor.judge.local_air import lag_step
from monitor.terms import HOUR_S


@dataclass(frozen=True, slots=True)
class ArrivalParams:
    """When a bag is on its way. Times [s], differences [K].

    A bag first heard `apart_k` or more from the air at its shelf is, for as long as it comes
    nearer by `nearer_k` in `window_s`, and for `longest_s` at most: one that is warm by its own
    heat stays where it is. `lag_s` is the bag's, against which the air's own swings are told.
    A `load_share` of all bags that came within `fresh_s` moves the room's air.
    """

    apart_k: float = 3.0
    nearer_k: float = 0.4
    window_s: float = 3 * HOUR_S
    longest_s: float = 36 * HOUR_S
    lag_s: float = 9000.0
    fresh_s: float = 3 * HOUR_S
    load_share: float = 0.25


@dataclass(slots=True)
class _Way:
    """One bag on its way: since when, air through its lag, and (time, kelvin over it) of late."""

    since_s: float
    at_s: float
    lagged_c: float
    apart: list[tuple[float, float]]


class Arrivals:
    """Tells which bags are still on their way to the room's temperature."""

    def __init__(self, params: ArrivalParams | None = None) -> None:
        self._params = params or ArrivalParams()
        self._ways: dict[str, _Way] = {}
        self._there: set[str] = set()

    def step(
        self,
        end_s: float,
        surface_c: Mapping[str, float],
        air_c: Mapping[str, float],
        bags: Iterable[str],
    ) -> frozenset[str]:
        """The bags on their way at a frame's end, given the frame's surfaces and the air at
        their shelves [°C]; `bags` are all there are, others are forgotten."""
        known = set(bags)
        self._there &= known
        self._ways = {bag: way for bag, way in self._ways.items() if bag in known}
        for bag in sorted(surface_c.keys() & air_c.keys() & known - self._there):
            if not self._comes(bag, end_s, surface_c[bag], air_c[bag]):
                self._there.add(bag)
                self._ways.pop(bag, None)
        return frozenset(self._ways)

    def _comes(self, bag: str, end_s: float, surface_c: float, air_c: float) -> bool:
        """Take one bag's frame; whether it is on its way."""
        params = self._params
        way = self._ways.setdefault(bag, _Way(end_s, end_s, air_c, []))
        way.lagged_c = lag_step(way.lagged_c, air_c, end_s - way.at_s, params.lag_s)
        way.at_s = end_s
        apart_k = surface_c - way.lagged_c
        way.apart.append((end_s, apart_k))
        if way.since_s == end_s:
            return abs(apart_k) >= params.apart_k
        if end_s - way.apart[0][0] < params.window_s:
            return True
        nearer_k = abs(way.apart[0][1]) - abs(apart_k)
        way.apart = [one for one in way.apart if end_s - one[0] < params.window_s]
        return nearer_k >= params.nearer_k and end_s - way.since_s < params.longest_s

    def load_k(self, end_s: float) -> float:
        """How much warmer than its air a load stands that was brought in of late [K]; 0 where
        none was, or too few bags to move the room's air."""
        fresh = [
            way.apart[-1][1]
            for way in self._ways.values()
            if end_s - way.since_s <= self._params.fresh_s
        ]
        all_bags = len(self._ways) + len(self._there)
        return median(fresh) if fresh and len(fresh) >= self._params.load_share * all_bags else 0.0

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "there": sorted(self._there),
            "ways": {
                bag: [way.since_s, way.at_s, way.lagged_c, [list(one) for one in way.apart]]
                for bag, way in self._ways.items()
            },
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._there = set(state["there"])
        self._ways = {
            bag: _Way(since_s, at_s, lagged_c, [(one_s, apart_k) for one_s, apart_k in apart])
            for bag, (since_s, at_s, lagged_c, apart) in state["ways"].items()
        }
