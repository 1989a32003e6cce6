"""Quality: every doubt about a reading named beside its raw value, and probes at fault.

`check` looks at one reading as it comes; `close` takes what a frame brought and says which
probes can't be trusted. Nothing here drops or alters a raw value.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from monitor.judge.fallen import Follows
from monitor.judge.probe_faults import (
    Moment,
    ProbeFault,
    Watched,
    find_faults,
    follow_air,
    note_gaps,
)
from monitor.judge.probe_rules import FaultParams
from monitor.judge.swings import Swings
from monitor.judge.tracks import BAD, FAST, GOOD, MOST_PENDING, SLIP, Track
from monitor.values import Flag, Flagged, Probe, Quantity, Reading, Reason

#: Values a probe gives that it never measured: the power-on scratchpad of common 1-wire
#: probes (85.0), the value one lost bit makes of it (127.94, in steps of 1/16 127.9375), and
#: what drivers report for a probe that isn't there (-127).
POWER_ON_C = (85.0, 127.9375, 127.94, -127.0)


@dataclass(frozen=True, slots=True)
class QualityParams:
    """Limits of single readings. Temperatures [°C], differences [K], times [s].

    `rate_k` is what a bag probe may move between two frames: a body with a lag of 2 to 4 h
    in air 6 K colder moves 0.5 K in 10 min, its taped probe leaks up to 30 % of the air's
    own step (common practice, no source).
    """

    least_c: float = -5.0
    most_c: float = 50.0
    future_s: float = 300.0
    rate_k: float = 2.5
    rate_k_per_h: float = 3.0
    slip_least_c: float = 60.0
    slip_most_c: float = 100.0
    slip_near_k: float = 3.0
    frame_s: float = 600.0
    fault: FaultParams = field(default_factory=FaultParams)


_UNTIMED = (Flag.TIME_UNKNOWN, Flag.RETAINED, Flag.FUTURE, Flag.UNKNOWN_PROBE)
_NOT_COUNTED = (*_UNTIMED, Flag.CLOCK_UNSET, Flag.CLOCK_AHEAD, Flag.LATE, Flag.DUPLICATE)
_STANDING = {Reason.PROBE_STUCK: Flag.STUCK, Reason.PROBE_FELL_OFF: Flag.FELL_OFF}


class Quality:
    """Checks readings and watches the probes of a plan."""

    def __init__(
        self, params: QualityParams, probes: Mapping[str, Probe], bags: Collection[str] = ()
    ) -> None:
        self._params = params
        self._tracks: dict[tuple[str, Quantity], Track] = {}
        self._follows = Follows(params.fault.fallen)
        self._swings = Swings(params.fault.swings)
        self._closed_s: float | None = None
        self._began_s: float | None = None
        self.plan(probes, bags)

    def plan(self, probes: Mapping[str, Probe], bags: Collection[str] = ()) -> None:
        """Take a new plan of probes, and the bags a hand reading may name."""
        self._probes = dict(probes)
        self._watched: list[Watched] | None = None
        self._bags = frozenset(bags) | {probe.bag for probe in probes.values() if probe.bag}

    def was_dark(self, until_s: float) -> None:
        """Nobody listened before `until_s`: no probe is silent for that time."""
        self._began_s = until_s

    def check(self, reading: Reading) -> Flagged:
        """One reading with its flags, its value corrected by the probe's offset."""
        place = self._probes.get(reading.probe)
        humid = reading.quantity is Quantity.HUMIDITY
        value = reading.value
        if place is not None and not humid and not reading.by_hand:
            value += place.offset_k
        flags = self._time_flags(reading)
        if reading.marks:
            flags = list(dict.fromkeys((*reading.marks, *flags)))
        if reading.by_hand:
            if reading.bag not in self._bags:
                flags.append(Flag.UNKNOWN_BAG)
            flags += self._value_flags(reading.value, value, humid, None)
            return Flagged(reading, value, tuple(flags))
        if place is None:
            flags.append(Flag.UNKNOWN_PROBE)
            flags += self._value_flags(reading.value, value, humid, None)
            return Flagged(reading, value, tuple(flags))
        track = self._tracks.get((reading.probe, reading.quantity))
        if track is None:
            track = self._tracks[reading.probe, reading.quantity] = Track()
            self._watched = None
        seen = reading.measured_s is not None and track.seen_before(
            reading.measured_s, reading.value
        )
        if seen:
            flags.append(Flag.DUPLICATE)
        values = self._value_flags(reading.value, value, humid, track.reference)
        if not values and not humid and not place.in_air and self._too_fast(reading, value, track):
            values = [Flag.RATE]
        flags += values
        if track.fault and (standing := _STANDING.get(Reason(track.fault))):
            flags.append(standing)
        self._note(reading, value, track, flags, values)
        return Flagged(reading, value, tuple(flags))

    def _time_flags(self, reading: Reading) -> list[Flag]:
        if reading.measured_s is None:
            return [Flag.TIME_UNKNOWN]
        if reading.measured_s > reading.received_s + self._params.future_s:
            return [Flag.FUTURE]
        if self._closed_s is not None and reading.measured_s < self._closed_s:
            return [Flag.LATE]
        return []

    def _value_flags(
        self, raw: float, value: float, humid: bool, reference: float | None
    ) -> list[Flag]:
        params = self._params
        if humid:
            return [] if 0.0 <= raw <= 100.0 else [Flag.RANGE]
        for odd in POWER_ON_C:
            if abs(raw - odd) < 1e-3:
                return [Flag.POWER_ON]
        if self._slipped(value, reference):
            return [Flag.UNIT_SLIP]
        return [] if params.least_c <= value <= params.most_c else [Flag.RANGE]

    def _slipped(self, value: float, reference: float | None) -> bool:
        """Whether `value` is a Fahrenheit number taken as Celsius, or one turned twice."""
        params = self._params
        if reference is None:
            return params.slip_least_c <= value <= params.slip_most_c
        if abs(value - reference) <= 3 * params.slip_near_k:
            return False
        as_celsius = (value - 32.0) / 1.8
        turned_twice = value * 1.8 + 32.0
        return min(abs(as_celsius - reference), abs(turned_twice - reference)) <= params.slip_near_k

    def _too_fast(self, reading: Reading, value: float, track: Track) -> bool:
        if track.reference is None or reading.measured_s is None:
            return False
        gap_h = max(0.0, reading.measured_s - track.reference_s) / 3600.0
        return abs(value - track.reference) > (
            self._params.rate_k + self._params.rate_k_per_h * gap_h
        )

    def _note(
        self,
        reading: Reading,
        value: float,
        track: Track,
        flags: Collection[Flag],
        values: Collection[Flag],
    ) -> None:
        """Keep for the close of the frame what this reading says about its probe."""
        if reading.measured_s is None:
            return
        if not flags:
            if len(track.pending) < MOST_PENDING:
                track.pending.append((reading.measured_s, reading.value, value, GOOD))
            return
        if any(flag in flags for flag in _UNTIMED):
            return
        if Flag.CLOCK_UNSET in flags:
            track.hear(reading.received_s)
        elif Flag.LATE in flags or Flag.CLOCK_AHEAD in flags:
            track.hear(reading.measured_s)
        if any(flag in flags for flag in _NOT_COUNTED) or len(track.pending) >= MOST_PENDING:
            return
        kind = GOOD
        if Flag.RATE in values:
            kind = FAST
        elif Flag.UNIT_SLIP in values:
            kind = SLIP
        elif values:
            kind = BAD
        track.pending.append((reading.measured_s, reading.value, value, kind))

    def close(
        self,
        end_s: float,
        air_c: Mapping[str, float],
        handled: Collection[str] = (),
        aside: Collection[str] = (),
    ) -> tuple[ProbeFault, ...]:
        """Take the frame that ends at `end_s`; the probes at fault now, sorted by name.

        `air_c` holds this frame's air at the shelf of each bag probe [°C], by probe; probes
        may be missing where there is no air. Of bags just `handled` no probe is looked at for
        whether it fell off: a bag that was moved or shaken warms and cools as no other does.
        Those `aside` (brought in warm or cold, or in the sun) are held against nothing, nor is any
        bag against them.
        """
        if self._began_s is None:
            self._began_s = end_s - self._params.frame_s
        self._closed_s = end_s
        if self._watched is None:
            self._await_first_words()
            self._watched = [
                Watched(name, quantity, self._probes[name], self._tracks[name, quantity])
                for name, quantity in sorted(self._tracks)
                if name in self._probes
            ]
        moment = Moment(end_s, self._params.frame_s, self._began_s)
        for one in self._watched:
            self._advance(one.track, moment, air_c.get(one.probe))
        bags = [one for one in self._watched if one.on_bag and one.place.bag not in aside]
        for one in self._watched:
            if one.on_bag and one.place.bag in aside and not one.track.is_off:
                # how it swung into the sun is no swing of its bag
                self._swings.forget(one.probe)
        still = [one for one in bags if one.track.is_off or one.place.bag not in handled]
        follow_air(self._follows, self._swings, still, end_s, self._params.fault)
        note_gaps((one.track for one in bags), end_s, self._params.fault)
        return find_faults(self._watched, moment, self._params.fault)

    def _await_first_words(self) -> None:
        """A probe that never spoke gets a track too, so that its silence is noticed."""
        spoke = {name for name, _ in self._tracks}
        for name in self._probes.keys() - spoke:
            self._tracks[name, Quantity.TEMPERATURE] = Track()
        for name, quantity in list(self._tracks):
            others = [self._tracks.get((name, other)) for other in Quantity if other != quantity]
            if self._tracks[name, quantity].never_spoke and any(others):
                del self._tracks[name, quantity]

    def _advance(self, track: Track, moment: Moment, air_c: float | None) -> None:
        """Fold one frame of readings into a track."""
        fault, end_s = self._params.fault, moment.end_s
        if not track.pending:
            return
        taken = track.take_pending(end_s, moment.began_s)
        good = [item[2] for item in taken if item[3] == GOOD]
        if good:
            mean = math.fsum(good) / len(good)
            track.reference = median(good) if len(good) > 1 else good[0]
            track.reference_s = max(item[0] for item in taken if item[3] == GOOD)
            track.recent.append((end_s, mean, air_c))
            track.odd = []
        elif fast := [item for item in taken if item[3] == FAST]:
            track.odd.append((end_s, math.fsum(item[2] for item in fast) / len(fast), air_c))
            levels = [row[1] for row in track.odd[-fault.jump_frames :]]
            if len(levels) >= fault.jump_frames and (
                max(levels) - min(levels) <= fault.jump_spread_k
            ):
                track.jumped_s = track.odd[-len(levels)][0] - self._params.frame_s
                track.jumped_k = levels[-1] - (track.reference or levels[-1])
                track.recent += track.odd[-len(levels) :]
                track.reference, track.reference_s = levels[-1], fast[-1][0]
                track.odd = []
            del track.odd[: -fault.jump_frames]
        del track.recent[: -fault.jump_frames]

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "closed_s": self._closed_s,
            "began_s": self._began_s,
            "follows": self._follows.state(),
            "swings": self._swings.state(),
            "tracks": [
                [name, quantity.value, track.state()]
                for (name, quantity), track in sorted(self._tracks.items())
            ],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave; the plan stays the one this was made with."""
        self._closed_s, self._began_s = state["closed_s"], state["began_s"]
        self._watched = None
        self._follows.restore(state["follows"])
        self._swings.restore(state["swings"])
        self._tracks = {
            (name, Quantity(quantity)): Track.restored(track)
            for name, quantity, track in state["tracks"]
        }
