"""What breaks: the room's plant, and the probes on the bags."""

from __future__ import annotations

from dataclasses import dataclass, field

ROOM_FAULTS = ("heater stuck", "cooler fails", "power cut", "door open")
PROBE_FAULTS = ("fell", "stuck", "silent", "blip")
POWER_ON_C = 85.0  # what a 1-wire probe says once after it lost its power


@dataclass(frozen=True)
class RoomFault:
    """One of ROOM_FAULTS, from `from_s` for `for_s` seconds."""

    kind: str
    from_s: float
    for_s: float

    def __post_init__(self) -> None:
        if self.kind not in ROOM_FAULTS:
            raise ValueError(f"{self.kind!r} is none of {ROOM_FAULTS}")

    def holds(self, now_s: float) -> bool:
        return self.from_s <= now_s < self.from_s + self.for_s


@dataclass(frozen=True)
class ProbeFault:
    """One of PROBE_FAULTS of the probe on bag number `bag`; a blip is a single 85.0."""

    kind: str
    bag: int
    from_s: float
    for_s: float = float("inf")

    def __post_init__(self) -> None:
        if self.kind not in PROBE_FAULTS:
            raise ValueError(f"{self.kind!r} is none of {PROBE_FAULTS}")

    def holds(self, now_s: float) -> bool:
        return self.from_s <= now_s < self.from_s + self.for_s


@dataclass
class ProbeBoard:
    """Applies the faults of all bag probes to what they would have read."""

    faults: tuple[ProbeFault, ...]
    _held_c: dict[int, float] = field(default_factory=dict)
    _blipped: set[ProbeFault] = field(default_factory=set)

    def fallen(self, now_s: float) -> list[int]:
        """Numbers of the bags whose probe hangs in the shelf's air."""
        return [fault.bag for fault in self.faults if fault.kind == "fell" and fault.holds(now_s)]

    def spoil(self, now_s: float, bag: int, value_c: float) -> float | None:
        """What the probe on `bag` says instead of `value_c`; None when it says nothing."""
        for fault in self.faults:
            if fault.bag != bag or not fault.holds(now_s):
                continue
            if fault.kind == "silent":
                return None
            if fault.kind == "stuck":
                return self._held_c.setdefault(bag, value_c)
            if fault.kind == "blip" and fault not in self._blipped:
                self._blipped.add(fault)
                return POWER_ON_C
        return value_c

    @property
    def affected(self) -> frozenset[int]:
        """Numbers of the bags with any fault; the others need no look."""
        return frozenset(fault.bag for fault in self.faults)
