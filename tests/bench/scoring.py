"""How calls on bags are scored against what was so; pure, no files.

A call counts when it says the bag is hot with urgency `now` or `today`. A bag with added heat
is found by its first call no earlier than 12 h before the moment the added heat is worth
0.5 °C at its surface; the delay runs from that moment and may be negative.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from statistics import median

HOUR_S = 3600.0
GRACE_BEFORE_S = 12 * HOUR_S
PROBE_NAMED_WITHIN_S = 6 * HOUR_S
STALL_FOUND_WITHIN_S = 48 * HOUR_S
PROBE_FAULTS = ("fell", "stuck", "silent")


@dataclass(frozen=True)
class Call:
    """Someone or something said at `at_s` that `subject` is `what`: hot, stalled or probe."""

    at_s: float
    subject: str
    what: str


@dataclass(frozen=True)
class BagTruth:
    """What was so with a bag; times are None where it did not happen."""

    bag: str
    kind: str
    probe: str = ""
    half_degree_s: float | None = None
    stalled_s: float | None = None
    probe_fault: str = ""
    probe_fault_s: float | None = None

    @property
    def healthy(self) -> bool:
        return self.kind == "healthy"


@dataclass
class Score:
    """Sums over any number of rooms; `+=` joins two."""

    healthy: int = 0
    false: int = 0
    with_heat: int = 0
    delays_h: list[float] = field(default_factory=list)
    called_early: int = 0
    stalled: int = 0
    stalls_found: int = 0
    stall_false: int = 0
    stall_delays_h: list[float] = field(default_factory=list)
    probe_faults: int = 0
    probes_named: int = 0
    probes_called_bag: int = 0
    missed: list[str] = field(default_factory=list)

    def __iadd__(self, other: Score) -> Score:
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)
        return self

    @property
    def false_per_100(self) -> float:
        return 100.0 * self.false / self.healthy if self.healthy else float("nan")

    @property
    def found_percent(self) -> float:
        return 100.0 * len(self.delays_h) / self.with_heat if self.with_heat else float("nan")

    @property
    def median_delay_h(self) -> float:
        return median(self.delays_h) if self.delays_h else float("nan")

    @property
    def stall_false_per_100(self) -> float:
        return 100.0 * self.stall_false / self.healthy if self.healthy else float("nan")


def first_call(calls: Iterable[Call], subject: str, what: str, from_s: float) -> float | None:
    """Time of the first call of that kind on the subject at `from_s` or later."""
    times = [c.at_s for c in calls if c.subject == subject and c.what == what and c.at_s >= from_s]
    return min(times, default=None)


def score_heat(score: Score, truth: BagTruth, calls: Sequence[Call]) -> None:
    """Count the bag as found, missed or falsely called hot."""
    ever = first_call(calls, truth.bag, "hot", float("-inf"))
    if truth.healthy:
        score.healthy += 1
        score.false += ever is not None
        return
    if truth.half_degree_s is None:
        return
    score.with_heat += 1
    counts_from_s = truth.half_degree_s - GRACE_BEFORE_S
    found = first_call(calls, truth.bag, "hot", counts_from_s)
    score.called_early += ever is not None and ever < counts_from_s
    if found is None:
        score.missed.append(truth.bag)
    else:
        score.delays_h.append((found - truth.half_degree_s) / HOUR_S)


def score_stall(score: Score, truth: BagTruth, calls: Sequence[Call]) -> None:
    """Count the bag as found stalled within 48 h, missed or falsely called stalled."""
    if truth.healthy:
        score.stall_false += first_call(calls, truth.bag, "stalled", float("-inf")) is not None
    if truth.stalled_s is None:
        return
    score.stalled += 1
    found = first_call(calls, truth.bag, "stalled", truth.stalled_s)
    if found is not None:
        score.stall_delays_h.append((found - truth.stalled_s) / HOUR_S)
        score.stalls_found += found - truth.stalled_s <= STALL_FOUND_WITHIN_S


def score_probe(score: Score, truth: BagTruth, calls: Sequence[Call]) -> None:
    """Count whether a probe fault was named in 6 h, and whether a good bag was blamed for it."""
    if truth.probe_fault_s is None:
        return
    score.probe_faults += 1
    named = first_call(calls, truth.probe, "probe", truth.probe_fault_s)
    score.probes_named += named is not None and named - truth.probe_fault_s <= PROBE_NAMED_WITHIN_S
    if truth.healthy:
        blamed = [first_call(calls, truth.bag, w, truth.probe_fault_s) for w in ("hot", "stalled")]
        score.probes_called_bag += any(at is not None for at in blamed)


def score_room(truths: Iterable[BagTruth], calls: Sequence[Call]) -> Score:
    """The score of one room's calls."""
    score = Score()
    for truth in truths:
        score_heat(score, truth, calls)
        score_stall(score, truth, calls)
        score_probe(score, truth, calls)
    return score


@dataclass
class Interval:
    """How well stated 80 % intervals hold: errors, whether inside, how wide."""

    errors: list[float] = field(default_factory=list)
    inside: int = 0

    def add(self, estimate: float, low: float, high: float, true: float, relative: bool) -> None:
        """Take in one estimate; relative errors are shares of the true value."""
        error = abs(estimate - true)
        self.errors.append(error / abs(true) if relative else error)
        self.inside += low <= true <= high

    def __iadd__(self, other: Interval) -> Interval:
        self.errors += other.errors
        self.inside += other.inside
        return self

    @property
    def median_error(self) -> float:
        return median(self.errors) if self.errors else float("nan")

    @property
    def coverage_percent(self) -> float:
        return 100.0 * self.inside / len(self.errors) if self.errors else float("nan")
