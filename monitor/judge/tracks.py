"""What quality remembers of one probe: plain data that moves on only when a frame closes.

Readings of an open frame wait in `pending` and are taken in order of time, so the order in
which they arrived inside the frame changes nothing.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from typing import Any

from monitor.judge.pace import Pace
from monitor.values import Reason

MOST_PENDING = 4096
_KEPT_REPEATS = 32
_RUN_ENDS_S = 7200.0  # silence longer than this ends a run of unchanged values
_LONGEST_FADES = 0.995  # per finished run, so that one odd night is forgotten
_CHANGE_MEMORY = 0.02  # weight of one reading in the share of readings that change

GOOD, BAD, SLIP, FAST = "good", "bad", "slip", "fast"


#: A frame of one probe: its end [s], the mean it read, the air at its shelf if there was any.
Row = tuple[float, float, float | None]


@dataclass(slots=True)
class Bucket:
    """A leaky bucket of doubts: three in a row fill it, as many good ones empty it."""

    level: int = 0
    since_s: float | None = None
    full: bool = False

    def add(self, doubt: bool, at_s: float, fills_at: int = 6) -> None:
        """One reading more; a doubt weighs two, a good reading takes one away."""
        if doubt:
            if self.level == 0:
                self.since_s = at_s
            self.level = min(2 * fills_at, self.level + 2)
        elif self.level:
            self.level -= 1
        if self.level >= fills_at:
            self.full = True
        elif self.level == 0:
            self.full = False


@dataclass(slots=True)
class Track:
    """One probe and quantity. Times [s], temperatures [°C], humidity [%RH].

    As of the last frame: `lagged_c` the air through the bag's lag and `fell_s` since when the
    probe is off its bag (`fallen.Follows`), `swings_s` since when by its swings
    (`swings.Swings`).
    """

    count: int = 0
    last_s: float | None = None
    pace: Pace = field(default_factory=Pace)
    repeats: list[list[float]] = field(default_factory=list)
    newest_s: float = 0.0
    pending: list[tuple[float, float, float, str]] = field(default_factory=list)
    reference: float | None = None
    reference_s: float = 0.0
    held: float | None = None
    held_since_s: float = 0.0
    held_until_s: float = 0.0
    held_count: int = 0
    lagged_since_s: float | None = None
    lagged_low_c: float = 0.0
    lagged_high_c: float = 0.0
    change_share: float | None = None
    changes_seen: int = 0
    smallest_step: float | None = None
    bad: Bucket = field(default_factory=Bucket)
    slip: Bucket = field(default_factory=Bucket)
    odd: list[Row] = field(default_factory=list)
    jumped_s: float | None = None
    jumped_k: float = 0.0
    recent: list[Row] = field(default_factory=list)
    gaps: list[tuple[float, float]] = field(default_factory=list)
    lied_s: float | None = None
    lagged_c: float = 0.0
    fell_s: float | None = None
    swings_s: float | None = None
    longest_s: float = 0.0
    fault: str = ""
    fault_since_s: float = 0.0
    fault_detail: str = ""

    @property
    def never_spoke(self) -> bool:
        """Whether nothing of it was ever heard."""
        return self.last_s is None and not self.pending

    @property
    def held_s(self) -> float:
        """How long the value it gives now has been given."""
        return self.held_until_s - self.held_since_s

    def seen_before(self, measured_s: float, value: float) -> bool:
        """Whether this very reading came before; remembers it if not."""
        entry = [measured_s, value]
        if measured_s <= self.newest_s and entry in self.repeats:
            return True
        self.newest_s = max(self.newest_s, measured_s)
        self.repeats.append(entry)
        if len(self.repeats) > _KEPT_REPEATS:
            del self.repeats[0]
        return False

    def hear(self, at_s: float) -> None:
        """The probe spoke, whatever it said."""
        if self.last_s is None or at_s > self.last_s:
            self.last_s = at_s

    def take_pending(self, end_s: float, began_s: float) -> list[tuple[float, float, float, str]]:
        """Readings before `end_s` in order of time, taken into every count.

        A gap that reaches back to before `began_s`, when nobody listened, is none of the probe's.
        """
        taken = [item for item in self.pending if item[0] < end_s]
        if len(taken) == len(self.pending):
            self.pending.clear()
        else:
            self.pending = [item for item in self.pending if item[0] >= end_s]
        taken.sort()
        before_s = self.last_s
        for at_s, raw, _, kind in taken:
            if before_s is not None and at_s > before_s >= began_s:
                self.pace.note(at_s, at_s - before_s)
            before_s = at_s if before_s is None else max(before_s, at_s)
            self.count += 1
            self.hear(at_s)
            if kind == BAD or self.bad.level:
                self.bad.add(kind == BAD, at_s)
            if kind == SLIP or self.slip.level:
                self.slip.add(kind == SLIP, at_s)
            if kind in (GOOD, FAST):
                self._hold(at_s, raw)
        return taken

    def _hold(self, at_s: float, raw: float) -> None:
        """Take one value into the run of unchanged ones; silence ends a run too."""
        if self.held is None or raw != self.held or at_s - self.held_until_s > _RUN_ENDS_S:
            if self.held is not None and raw != self.held:
                step = abs(raw - self.held)
                if self.smallest_step is None or step < self.smallest_step:
                    self.smallest_step = step
                self._count_changes(1)
                if self.fault != Reason.PROBE_STUCK.value:
                    self.longest_s = max(_LONGEST_FADES * self.longest_s, self.held_s)
            self.held, self.held_since_s, self.held_count = raw, at_s, 0
        self.held_until_s = at_s
        self.held_count += 1

    @property
    def is_off(self) -> bool:
        """Whether the probe counts as off its bag."""
        return self.fell_s is not None or self.swings_s is not None

    def note_lagged_air(self, lagged_c: float) -> None:
        """Keep how far the bag's lagged air goes while the probe holds one value."""
        if self.lagged_since_s != self.held_since_s:
            self.lagged_since_s = self.held_since_s
            self.lagged_low_c = self.lagged_high_c = lagged_c
        self.lagged_low_c = min(self.lagged_low_c, lagged_c)
        self.lagged_high_c = max(self.lagged_high_c, lagged_c)

    def _count_changes(self, changed: int) -> None:
        """One finished hold: its readings but one did not change, the last one did."""
        unchanged = max(0, self.held_count - 1)
        before = self.change_share if self.change_share is not None else 0.5
        share = before * math.pow(1.0 - _CHANGE_MEMORY, unchanged + changed)
        self.change_share = share + _CHANGE_MEMORY * changed
        self.changes_seen += unchanged + changed

    def state(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)

    @classmethod
    def restored(cls, state: dict[str, Any]) -> Track:
        """The track that gave `state`."""
        values = dict(state)
        values["pace"] = Pace(**state["pace"])
        values["bad"], values["slip"] = Bucket(**state["bad"]), Bucket(**state["slip"])
        values["pending"] = [
            (float(at_s), float(raw), float(value), str(kind))
            for at_s, raw, value, kind in state["pending"]
        ]
        for name in ("odd", "recent"):
            values[name] = [(end_s, mean, air) for end_s, mean, air in state[name]]
        values["gaps"] = [(end_s, gap_k) for end_s, gap_k in state["gaps"]]
        return cls(**values)
