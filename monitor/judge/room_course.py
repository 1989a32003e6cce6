"""The last two hours of a room: half-hour means, slopes, and how it left its usual range."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from monitor.judge.room_level import Level
from monitor.judge.room_usual import Usual
from monitor.terms import HOUR_S

#: A thermostat's saw-tooth of two to six ticks an hour (common practice, no source) is
#: mostly gone from a mean over half an hour.
SMOOTH_S = 1800.0
KEPT_S = 2 * HOUR_S
#: The edge of the usual range is no sharper than the noise of a half-hour mean.
EDGE_K = 0.3
PLUNGE_S = 1200.0
#: How far air must run past the middle bag to be driven there [K].
LEAD_K = 0.75
#: Share of the air's rise by which bags show within the hour: a probe taped to a bag leaks a
#: tenth or more of it (common practice, no source), the bag itself follows later.
BAGS_SHOW = 0.05


@dataclass(frozen=True, slots=True)
class Point:
    """A frame's `Level`, with the half-hour mean of the levels [°C]."""

    at_s: float
    level_c: float
    smooth_c: float
    bags_c: float | None
    surface_c: float | None
    lowest_c: float
    tilt_k: float | None
    from_air: bool


class Course:
    """Where a room has come from. Extremes are kept from when it left its usual range on:
    `steepest_k_per_h` over half an hour (signed), `leading_k_per_h` the same while the air led
    the bags, `tilt_k` between shelves, `plunge_k` within 20 minutes.

    Air that is heated runs past the bags; where cooling is lost it only comes up to them,
    because they and the walls are what warms it.
    """

    def __init__(self) -> None:
        self._frame_s = 0.0
        self._points: list[Point] = []
        self.rate_k_per_h: float | None = None
        self.left_s: float | None = None
        self.steepest_k_per_h = 0.0
        self.leading_k_per_h = 0.0
        self.tilt_k: float | None = None
        self.plunge_k = 0.0

    @property
    def last(self) -> Point | None:
        """The newest point."""
        return self._points[-1] if self._points else None

    def add(self, at_s: float, frame_s: float, level: Level) -> Point:
        """Take a frame's level. A source that changes from air to bags begins anew."""
        self._frame_s = frame_s
        if self._points and self._points[-1].from_air != level.from_air:
            self._points = []
        self._points = [point for point in self._points if at_s - point.at_s < KEPT_S]
        near = [point.level_c for point in self._points if at_s - point.at_s < SMOOTH_S]
        point = Point(
            at_s=at_s,
            level_c=level.level_c,
            smooth_c=(math.fsum(near) + level.level_c) / (len(near) + 1),
            bags_c=level.bags_c,
            surface_c=level.surface_c,
            lowest_c=level.lowest_c,
            tilt_k=level.tilt_k,
            from_air=level.from_air,
        )
        self._points.append(point)
        before = self._ago(HOUR_S)
        self.rate_k_per_h = None if before is None else _rate_k_per_h(before, point)
        return point

    def compare(self, point: Point, usual: Usual) -> None:
        """Keep the extremes while the room is outside its usual range."""
        if usual.low_c - EDGE_K <= point.smooth_c <= usual.high_c + EDGE_K:
            self.left_s = None
            self.steepest_k_per_h = self.leading_k_per_h = 0.0
            self.tilt_k, self.plunge_k = None, 0.0
            return
        if self.left_s is None:
            self.left_s = point.at_s
        before = self._ago(SMOOTH_S)
        rate = 0.0 if before is None else _rate_k_per_h(before, point)
        upward = point.smooth_c > usual.high_c
        if upward == (rate > 0) and abs(rate) > abs(self.steepest_k_per_h):
            self.steepest_k_per_h = rate
        leads = not upward or point.surface_c is None or point.level_c > point.surface_c + LEAD_K
        if (leads or not point.from_air) and abs(rate) > abs(self.leading_k_per_h):
            self.leading_k_per_h = rate
        if point.tilt_k is not None:
            self.tilt_k = max(self.tilt_k or 0.0, point.tilt_k)
        reach_s = max(PLUNGE_S, self._frame_s)
        recent_c = max(p.level_c for p in self._points if point.at_s - p.at_s <= reach_s)
        self.plunge_k = max(self.plunge_k, recent_c - point.level_c)

    def steady(self, limit_k_per_h: float) -> bool:
        """Whether the half-hour mean has risen through each of the last two steps (10 min or
        a frame), by the limit over both: a thermostat at work would have turned it back."""
        step_s = max(SMOOTH_S / 3, self._frame_s)
        now, one, two = self.last, self._ago(step_s), self._ago(2 * step_s)
        if now is None or one is None or two is None:
            return False
        rise_k = limit_k_per_h * (now.at_s - two.at_s) / HOUR_S
        return two.smooth_c < one.smooth_c < now.smooth_c and now.smooth_c - two.smooth_c >= rise_k

    def bags_follow(self) -> bool:
        """Whether the bags show the air's rise; true where there are no bags to ask."""
        now, before = self.last, self._ago(HOUR_S)
        if now is None or before is None or now.bags_c is None or before.bags_c is None:
            return True
        return now.bags_c - before.bags_c > BAGS_SHOW * (now.smooth_c - before.smooth_c)

    def recovers(self, point: Point, by_k: float) -> bool:
        """Whether a fallen room has come up by `by_k` from its lowest half hour of late."""
        return point.level_c > min(p.smooth_c for p in self._points) + by_k

    def _ago(self, age_s: float) -> Point | None:
        """The point about `age_s` old, None where none is near that age."""
        now = self._points[-1]
        nearest = min(self._points, key=lambda p: abs(now.at_s - p.at_s - age_s))
        off_s = abs(now.at_s - nearest.at_s - age_s)
        near = nearest is not now and off_s <= max(age_s / 4, self._frame_s / 2)
        return nearest if near else None

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "frame_s": self._frame_s,
            "points": [asdict(point) for point in self._points],
            "rate_k_per_h": self.rate_k_per_h,
            "left_s": self.left_s,
            "steepest_k_per_h": self.steepest_k_per_h,
            "leading_k_per_h": self.leading_k_per_h,
            "tilt_k": self.tilt_k,
            "plunge_k": self.plunge_k,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._frame_s = float(state["frame_s"])
        self._points = [Point(**point) for point in state["points"]]
        self.rate_k_per_h = state["rate_k_per_h"]
        self.left_s = state["left_s"]
        self.steepest_k_per_h = float(state["steepest_k_per_h"])
        self.leading_k_per_h = float(state["leading_k_per_h"])
        self.tilt_k = state["tilt_k"]
        self.plunge_k = float(state["plunge_k"])


def _rate_k_per_h(before: Point, now: Point) -> float:
    return (now.smooth_c - before.smooth_c) / (now.at_s - before.at_s) * HOUR_S
