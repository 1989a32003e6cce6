"""A clock that a test turns: it drifts, steps and reboots as a Pi's does."""

from __future__ import annotations


class TurnedClock:
    """Wall and monotonic time move together with `pass_s`; `step_s` moves the wall alone."""

    def __init__(self, wall_s: float, *, synced: bool = True, boot: str = "boot-1") -> None:
        self._wall_s = wall_s
        self._monotonic_s = 100.0
        self._boot = boot
        self.is_synced = synced
        self.drift = 0.0

    def pass_s(self, seconds: float) -> None:
        self._monotonic_s += seconds
        self._wall_s += seconds * (1.0 + self.drift)

    def step_s(self, seconds: float, *, synced: bool = True) -> None:
        self._wall_s += seconds
        self.is_synced = synced

    def wall_s(self) -> float:
        return self._wall_s

    def monotonic_s(self) -> float:
        return self._monotonic_s

    def boot_id(self) -> str:
        return self._boot

    def synced(self) -> bool:
        return self.is_synced

    def real_s(self, interval_s: float) -> float:
        return interval_s
