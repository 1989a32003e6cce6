"""Irregular readings gathered into half-open frames stamped at their end."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from monitor.values import Flagged, Frame, HandReading, Mean, Probe, Quantity

#: Readings that wait for their frame; beyond it the newest are left out and counted.
MOST_WAITING = 200_000

# measured_s, probe, bag (of a hand reading), quantity, value
_Waiting = tuple[float, str, str, str, float]


class Frames:
    """Gathers usable readings and closes them into frames of `length_s` seconds.

    The order in which readings of one frame arrive changes nothing: sums are exact
    (`math.fsum`, after Shewchuk 1997) and lists are sorted.
    """

    def __init__(self, length_s: float) -> None:
        if not length_s > 0:
            raise ValueError(f"a frame must be longer than zero, not {length_s} s")
        self.length_s = length_s
        self.left_out = 0
        self._waiting: list[_Waiting] = []

    def add(self, flagged: Flagged) -> None:
        """Keep a usable reading for its frame; one that isn't usable is none of a frame's."""
        reading = flagged.reading
        if not flagged.usable or reading.measured_s is None:
            return
        if len(self._waiting) >= MOST_WAITING:
            self.left_out += 1
            return
        self._waiting.append(
            (
                reading.measured_s,
                reading.probe,
                reading.bag,
                reading.quantity.value,
                flagged.value,
            )
        )

    def close(self, end_s: float, plan: Mapping[str, Probe]) -> Frame:
        """The frame [end_s - length_s, end_s); `plan` says which bag a probe hangs on.

        Readings of `end_s` and later wait for the next frame. Those from before the frame
        belonged to one that is closed and are left out.
        """
        start_s = end_s - self.length_s
        inside = sorted(item for item in self._waiting if start_s <= item[0] < end_s)
        self._waiting = [item for item in self._waiting if item[0] >= end_s]
        air: dict[str, list[_Waiting]] = {}
        surface: dict[str, list[_Waiting]] = {}
        humidity: dict[str, list[_Waiting]] = {}
        hand: list[HandReading] = []
        for item in inside:
            at_s, probe, bag, quantity, value = item
            place = plan.get(probe)
            if bag:
                hand.append(HandReading(bag, value, at_s))
            elif place is None:
                continue
            elif quantity == Quantity.HUMIDITY:
                humidity.setdefault(probe, []).append(item)
            elif place.in_air:
                air.setdefault(probe, []).append(item)
            else:
                surface.setdefault(place.bag, []).append(item)
        return Frame(
            end_s=end_s,
            length_s=self.length_s,
            air_c=_means(air),
            surface_c=_means(surface),
            humidity=_means(humidity),
            hand=tuple(hand),
        )

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {"left_out": self.left_out, "waiting": [list(item) for item in self._waiting]}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self.left_out = int(state["left_out"])
        self._waiting = [
            (float(at_s), str(probe), str(bag), str(quantity), float(value))
            for at_s, probe, bag, quantity, value in state["waiting"]
        ]


def _means(groups: Mapping[str, list[_Waiting]]) -> dict[str, Mean]:
    return {
        key: Mean(
            mean=math.fsum(item[4] for item in items) / len(items),
            count=len(items),
            last_s=items[-1][0],
        )
        for key, items in sorted(groups.items())
    }


def without(frame: Frame, probes: Iterable[str], bags: Iterable[str]) -> Frame:
    """The same frame without what distrusted `probes` said of the air and of their `bags`.

    Hand readings stay: a person took them with another instrument.
    """
    silent, apart = frozenset(probes), frozenset(bags)
    return replace(
        frame,
        air_c={probe: mean for probe, mean in frame.air_c.items() if probe not in silent},
        humidity={probe: mean for probe, mean in frame.humidity.items() if probe not in silent},
        surface_c={bag: mean for bag, mean in frame.surface_c.items() if bag not in apart},
    )
