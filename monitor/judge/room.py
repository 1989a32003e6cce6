"""The room as a whole: its band, a heater or cooler that won't stop, a door, a power cut.

At most one thing is said of a room, under the subject `room`; its reason may sharpen while
it stands. A room leaves its usual range by a margin and keeps moving: that, and not a slope
alone, is what tells a stuck heater from the morning after a set-back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from monitor.judge.room_course import Course, Point
from monitor.judge.room_level import RoomLevel
from monitor.judge.room_silence import Silence
from monitor.judge.room_usual import Usual, UsualRange
from monitor.terms import DAY_S
from monitor.values import AlarmKind, Condition, Facts, Frame, Probe, Reason, Urgency


@dataclass(frozen=True, slots=True)
class RoomParams:
    """Limits of the room as a whole. Temperatures [°C], slopes [K/h], differences [K], times [s].

    `margin_k` beyond the usual range is an upset: over the 1.2 K that a warm load brings for
    some hours (common practice, no source). `early_margin_k` holds until day and night have
    been seen, and covers a set-back nobody has told of. `driven_k_per_h` over half an hour
    is a slope that only a heater or a cooler gives: bags and walls alone move a room by about
    1 K/h (common practice, no source). `tilt_k` between the shelves is a door; with air probes
    on one shelf alone, `plunge_k` within 20 min.
    """

    band_low_c: float = 15.0
    band_high_c: float = 27.0
    band_hold_s: float = 1800.0
    slope_limit_k_per_h: float = 0.8
    margin_k: float = 1.5
    early_margin_k: float = 5.0
    driven_k_per_h: float = 3.0
    tilt_k: float = 1.0
    plunge_k: float = 2.5
    fall_hold_s: float = 1800.0
    drift_hold_s: float = 6 * 3600.0
    clear_s: float = 1800.0
    deadband_k: float = 0.5
    bag_warmth_k: float = 3.0


_SHARPNESS = {
    Reason.ROOM_HIGH: 1,
    Reason.ROOM_LOW: 1,
    Reason.DRIFT: 1,
    Reason.NO_COOLING: 2,
    Reason.NO_HEATING: 2,
    Reason.HEATER_STUCK: 3,
    Reason.COOLER_STUCK: 3,
    Reason.DOOR: 3,
}
_UPWARD = frozenset({Reason.NO_COOLING, Reason.HEATER_STUCK})
_DOWNWARD = frozenset({Reason.NO_HEATING, Reason.COOLER_STUCK, Reason.DOOR})
_UPSETS = _UPWARD | _DOWNWARD
_BAND = frozenset({Reason.ROOM_HIGH, Reason.ROOM_LOW})
_URGENCY = {Reason.DRIFT: Urgency.TODAY, Reason.ROOM_LOW: Urgency.TODAY}


class RoomWatch:
    """Watches the room through its frames; at most one condition, of subject `room`."""

    def __init__(self, params: RoomParams) -> None:
        self._params = params
        self._level = RoomLevel()
        self._usual = UsualRange()
        self._silence = Silence()
        self._course = Course()
        self._timers: dict[str, float] = {}
        self._reason: Reason | None = None
        self._since_s = 0.0
        self._coldest = ""

    def step(
        self,
        frame: Frame,
        probes: Mapping[str, Probe],
        excess_k: Mapping[str, float],
        load_k: float = 0.0,
    ) -> tuple[Condition, ...]:
        """What is wrong with the room at the frame's end; nothing, or one condition.

        `frame` has no readings of probes at fault and may be empty; `probes` is the plan;
        `excess_k` [K] places bags where no air probe has spoken yet; `load_k` is how much warmer
        than the air a load just brought in stands, which moves the room and is no heater. A room
        nobody hears keeps its condition: silence is no proof that it is well again.
        """
        if self._silence.step(frame):
            return (self._cut(frame),)
        upset = self._reason in _UPSETS and frame.end_s - self._since_s < DAY_S
        level = self._level.step(frame, probes, excess_k, learn=not upset)
        if level is not None:
            point = self._course.add(frame.end_s, frame.length_s, level)
            usual = self._usual.at(frame.end_s)
            self._decide(point, usual, load_k)
            self._usual.add(frame.end_s, level.level_c, ordinary=not upset)
            if level.coldest:
                self._coldest = level.coldest
        return () if self._reason is None else (self._condition(frame, probes, self._reason),)

    # what is found

    def _decide(self, point: Point, usual: Usual | None, load_k: float) -> None:
        """Sharpen, keep, soften to the band, or clear what stands."""
        outside = self._band(point)
        found = self._upset(point, usual, load_k) or outside
        stands = self._reason
        if stands is None or (found is not None and _SHARPNESS[found] > _SHARPNESS[stands]):
            if found is not None:
                self._since_s = (
                    self._begun_s(found, point.at_s) if stands is None else self._since_s
                )
                self._reason = found
            return
        calm = found is None if stands in _BAND else self._is_calm(point, usual)
        if self._lasts("calm", calm, point.at_s, 0.0 if stands in _BAND else self._params.clear_s):
            self._reason = outside
            self._timers.pop("calm", None)

    def _begun_s(self, found: Reason, at_s: float) -> float:
        if found in _BAND:
            return self._timers.get("high" if found is Reason.ROOM_HIGH else "low", at_s)
        return at_s if self._course.left_s is None else self._course.left_s

    def _margin_k(self, usual: Usual) -> float:
        return self._params.margin_k if usual.learned else self._params.early_margin_k

    def _upset(self, point: Point, usual: Usual | None, load_k: float) -> Reason | None:
        """The room beyond its usual range by the margin, and what took it there."""
        if usual is None:
            return None
        params, margin_k = self._params, self._margin_k(usual)
        self._course.compare(point, usual)
        above_k, below_k = point.smooth_c - usual.high_c, usual.low_c - point.smooth_c
        drifts = self._lasts(
            "beyond", max(above_k, below_k) >= margin_k, point.at_s, params.drift_hold_s
        )
        falls = self._lasts("below", below_k >= margin_k, point.at_s, params.fall_hold_s)
        # a room not known yet may climb within its band on any morning after a set-back
        may_climb = not usual.learned and point.smooth_c <= params.band_high_c
        may_climb = may_climb or load_k > 0.0
        if above_k >= margin_k and not may_climb and self._climbs(point, usual, margin_k):
            driven = self._course.leading_k_per_h >= self._driven_k_per_h(point)
            return Reason.HEATER_STUCK if driven else Reason.NO_COOLING
        if falls and load_k >= 0.0 and self._keeps_falling(point):
            if self._is_door():
                return Reason.DOOR
            driven = -self._course.steepest_k_per_h >= self._driven_k_per_h(point)
            return Reason.COOLER_STUCK if driven else Reason.NO_HEATING
        return Reason.DRIFT if drifts else None

    def _driven_k_per_h(self, point: Point) -> float:
        """The slope only a heater or cooler gives; half of it where bags stand in for the air,
        because they follow within hours."""
        return self._params.driven_k_per_h / (1 if point.from_air else 2)

    def _climbs(self, point: Point, usual: Usual, margin_k: float) -> bool:
        """Every shelf and the bags rise together, without the ticks of a thermostat."""
        course, limit = self._course, self._params.slope_limit_k_per_h
        if course.rate_k_per_h is None or course.rate_k_per_h < limit:
            return False
        if point.lowest_c < usual.high_c + margin_k / 3 or not course.steady(limit):
            return False
        return course.bags_follow()

    def _keeps_falling(self, point: Point) -> bool:
        """Fell faster than the limit and isn't on its way back."""
        course = self._course
        fell = -course.steepest_k_per_h >= self._params.slope_limit_k_per_h
        return fell and not course.recovers(point, self._params.deadband_k)

    def _is_door(self) -> bool:
        """Cold along the floor; with air probes on one shelf, only a plunge can tell."""
        course = self._course
        if course.tilt_k is None:
            return course.plunge_k >= self._params.plunge_k
        return course.tilt_k >= self._params.tilt_k

    def _is_calm(self, point: Point, usual: Usual | None) -> bool:
        """Back inside half of the margin, on the side on which it left."""
        if usual is None:
            return False
        half_k = self._margin_k(usual) / 2
        cooled = point.smooth_c < usual.high_c + half_k
        warmed = point.smooth_c > usual.low_c - half_k
        if self._reason in _UPWARD:
            return cooled
        return warmed if self._reason in _DOWNWARD else cooled and warmed

    def _band(self, point: Point) -> Reason | None:
        """The half-hour mean outside the band for longer than `band_hold_s`."""
        params = self._params
        high_c = params.band_high_c
        if not point.from_air and not self._level.met_air:
            high_c += params.bag_warmth_k
        high_c -= params.deadband_k if self._reason is Reason.ROOM_HIGH else 0.0
        low_c = params.band_low_c
        low_c += params.deadband_k if self._reason is Reason.ROOM_LOW else 0.0
        hold_s = params.band_hold_s
        high = self._lasts("high", point.smooth_c > high_c, point.at_s, hold_s)
        low = self._lasts("low", point.smooth_c < low_c, point.at_s, hold_s)
        return Reason.ROOM_HIGH if high else Reason.ROOM_LOW if low else None

    def _lasts(self, name: str, holds: bool, at_s: float, hold_s: float) -> bool:
        """Whether something has held for `hold_s` up to now."""
        if not holds:
            self._timers.pop(name, None)
            return False
        return at_s - self._timers.setdefault(name, at_s) >= hold_s

    # what is said

    def _cut(self, frame: Frame) -> Condition:
        since_s = self._silence.since_s
        facts = Facts(
            since_s=since_s,
            silent_for_s=None if since_s is None else frame.end_s - since_s,
            affected=self._silence.voices,
        )
        return Condition(AlarmKind.ROOM, "room", Urgency.NOW, Reason.POWER_CUT, facts)

    def _condition(self, frame: Frame, probes: Mapping[str, Probe], reason: Reason) -> Condition:
        point = self._course.last
        place = probes.get(self._coldest) if reason is Reason.DOOR else None
        facts = Facts(
            rack=place.rack if place else "",
            shelf=place.shelf if place else None,
            air_c=point.smooth_c if point else None,
            rate_k_per_h=self._course.rate_k_per_h,
            since_s=self._since_s,
            low_c=self._params.band_low_c,
            high_c=self._params.band_high_c,
            affected=len(frame.surface_c),
        )
        urgency = _URGENCY.get(reason, Urgency.NOW)
        return Condition(AlarmKind.ROOM, "room", urgency, reason, facts)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "level": self._level.state(),
            "usual": self._usual.state(),
            "silence": self._silence.state(),
            "course": self._course.state(),
            "timers": dict(self._timers),
            "reason": None if self._reason is None else self._reason.value,
            "since_s": self._since_s,
            "coldest": self._coldest,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._level.restore(state["level"])
        self._usual.restore(state["usual"])
        self._silence.restore(state["silence"])
        self._course.restore(state["course"])
        self._timers = {name: float(at_s) for name, at_s in state["timers"].items()}
        self._reason = None if state["reason"] is None else Reason(state["reason"])
        self._since_s = float(state["since_s"])
        self._coldest = str(state["coldest"])
