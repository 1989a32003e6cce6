"""At what pace a probe speaks: steadily, or as its bag moves.

A steady probe keeps one gap and now and then loses a message. One that speaks on change has gaps
of all lengths: from time to time one that no lost messages explain, after which it comes back by
itself. What tells them apart is how often that happens.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median

from monitor.terms import DAY_S

_KEPT_GAPS = 15
#: Times its usual gap beyond which lost messages don't explain a gap: more than two in a row.
_LONG = 3.0
#: Of a radio link that loses one message in ten, one gap in a thousand is that long. Two of the
#: last seventy are more than chance.
_RAGGED_SHARE = 0.015
_SHARE_MEMORY = 0.01  # weight of one gap in the share of long ones; more among the first
_FIRST_GAPS = 10


@dataclass(slots=True)
class Pace:
    """The gaps between what a probe said [s]: the last ones, the share of long ones, and the
    longest of its last day of speaking and of the day before that."""

    gaps_s: list[float] = field(default_factory=list)
    counted: int = 0
    long_share: float = 0.0
    day: int = 0
    longest_s: float = 0.0
    longest_before_s: float = 0.0

    def note(self, at_s: float, gap_s: float, alone: bool = True) -> None:
        """It spoke at `at_s` for the first time in `gap_s`; what silences all probes, and not this
        one `alone`, tells nothing of how it rests."""
        if alone:
            self._count(at_s, gap_s)
        self.gaps_s = [*self.gaps_s[1 - _KEPT_GAPS :], gap_s]

    def _count(self, at_s: float, gap_s: float) -> None:
        usual_s = self.usual_s()
        if usual_s is not None:
            self.counted += 1
            weight = max(_SHARE_MEMORY, 1.0 / (self.counted + _FIRST_GAPS))
            self.long_share += weight * ((gap_s > _LONG * usual_s) - self.long_share)
        day = int(at_s // DAY_S)
        if day != self.day:
            self.longest_before_s = self.longest_s if day == self.day + 1 else 0.0
            self.day, self.longest_s = day, 0.0
        self.longest_s = max(self.longest_s, gap_s)

    def usual_s(self) -> float | None:
        """The median of its last gaps; None before the first."""
        return median(self.gaps_s) if self.gaps_s else None

    @property
    def ragged(self) -> bool:
        """Whether it is no steady one."""
        return self.long_share > _RAGGED_SHARE

    @property
    def longest_lately_s(self) -> float:
        """The longest gap of the last day or two [s]."""
        return max(self.longest_s, self.longest_before_s)
