"""The room as a whole: its band, a heater or cooler that won't stop, a door, a power cut."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from monitor.values import AlarmKind, Condition, Facts, Frame, Probe, Reason, Urgency


@dataclass(frozen=True, slots=True)
class RoomParams:
    """Limits of the room as a whole. Temperatures [°C], slopes [K/h], times [s]."""

    band_low_c: float = 15.0
    band_high_c: float = 27.0
    band_hold_s: float = 1800.0
    slope_limit_k_per_h: float = 0.8
    frame_s: float = 600.0
    deadband_k: float = 0.5


class RoomWatch:
    """Watches the room through its frames; at most one condition, of subject `room`."""

    def __init__(self, params: RoomParams) -> None:
        self._params = params
        self._outside_s: float | None = None
        self._standing = False

    def step(
        self, frame: Frame, probes: Mapping[str, Probe], excess_k: Mapping[str, float]
    ) -> tuple[Condition, ...]:
        """What is wrong with the room at the frame's end; nothing, or one condition."""
        air = [mean.mean for probe, mean in frame.air_c.items() if probe in probes]
        if not air:
            return ()
        params = self._params
        slack_k = params.deadband_k if self._standing else 0.0
        air_c = math.fsum(air) / len(air)
        high = air_c > params.band_high_c - slack_k
        if not (high or air_c < params.band_low_c + slack_k):
            self._outside_s, self._standing = None, False
            return ()
        if self._outside_s is None:
            self._outside_s = frame.end_s - frame.length_s
        self._standing = frame.end_s - self._outside_s >= params.band_hold_s
        if not self._standing:
            return ()
        facts = Facts(
            air_c=air_c,
            since_s=self._outside_s,
            low_c=params.band_low_c,
            high_c=params.band_high_c,
            affected=len(frame.surface_c),
        )
        reason = Reason.ROOM_HIGH if high else Reason.ROOM_LOW
        return (Condition(AlarmKind.ROOM, "room", Urgency.NOW, reason, facts),)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {"outside_s": self._outside_s, "standing": self._standing}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._outside_s = state["outside_s"]
        self._standing = state["standing"]
