"""What a night is told from, and what is told of it: plain records, SI inside.

Times are seconds since 1970 in UTC; a series is (time, value) pairs in order of time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from monitor.review.nights import Window
from monitor.review.slopes import Slope
from monitor.terms import AlarmKind, Reason, Urgency
from monitor.values import AlarmEvent, Bag, Estimate, Evidence, Probe

Series = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Heard:
    """How one probe was heard in the window: silences of over five minutes, doubts by name.

    Silence before the first and after the last reading counts to the window's ends.
    """

    count: int = 0
    silences: tuple[Window, ...] = ()
    doubts: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NightData:
    """Everything a review looks at.

    `air_c` and `humidity` are usable readings by probe, from some hours before the window on;
    `surface_c` ten-minute means by bag inside it. `estimates` are hourly inside the window,
    `earlier` the same now and then in the days before. `events` reach back to where the
    alarms that stood began. `before` are the air's levels in the same hours of earlier nights.
    `rolled`: readings of the window were thrown away, and means of ten minutes stand for them.
    """

    window: Window
    band_c: tuple[float, float]
    bags: Mapping[str, Bag]
    probes: Mapping[str, Probe]
    air_c: Mapping[str, Series]
    humidity: Mapping[str, Series]
    surface_c: Mapping[str, Series]
    heard: Mapping[str, Heard]
    estimates: tuple[tuple[Estimate, Evidence | None], ...]
    earlier: tuple[tuple[Estimate, Evidence | None], ...]
    events: tuple[AlarmEvent, ...]
    peak_h: Mapping[str, float] = field(default_factory=dict)
    before: tuple[Level, ...] = ()
    handled: Mapping[str, str] = field(default_factory=dict)
    rolled: bool = False


@dataclass(frozen=True, slots=True)
class Level:
    """Low, high and mean of the room's air in a window [°C]."""

    low_c: float
    low_s: float
    high_c: float
    high_s: float
    mean_c: float


@dataclass(frozen=True, slots=True)
class Drift:
    """The air's robust slope [K/h] once the set-back and what happened are taken out.

    `set_back_k` is how much lower the air stood between `lowered_s` and `raised_s`; None
    unless both steps lie in the night.
    """

    slope: Slope | None
    set_back_k: float | None = None
    lowered_s: float | None = None
    raised_s: float | None = None


@dataclass(frozen=True, slots=True)
class Rhythm:
    """How the thermostat ticks: median period, swing from trough to crest, share of it rising.

    `stopped` is the longest time without a tick; `was` the rhythm of the other half of the
    night where it changed.
    """

    period_s: float
    swing_k: float
    duty: float
    ticks: int
    stopped: Window | None = None
    was: Rhythm | None = None


class Seen(StrEnum):
    """Who noticed a happening."""

    ALARM = "alarm"
    REVIEW = "review"


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened to the room; `end_s` is None while it goes on.

    `peak_c` is the air's extreme meanwhile.
    """

    reason: Reason
    start_s: float
    end_s: float | None
    seen: Seen
    peak_c: float | None = None


@dataclass(frozen=True, slots=True)
class Shelf:
    """Mean air at a shelf [°C]; 1 is the lowest."""

    shelf: int
    mean_c: float


@dataclass(frozen=True, slots=True)
class Layers:
    """Shelf air, lowest shelf first; `step_k` top less bottom, `widest_k` its extreme."""

    shelves: tuple[Shelf, ...]
    step_k: float
    widest_k: float
    widest_s: float


@dataclass(frozen=True, slots=True)
class Moist:
    """Humidity [%] and dew point [°C]. `spare_k` is how far the coldest air or surface known
    stayed above the dew point at the closest (below zero: it was wet), and `wet` where that
    was; `wet_s` for how long something known was at or under it."""

    mean: float
    low: float
    high: float
    dew_c: float
    dew_high_c: float
    wet_s: float
    spare_k: float
    closest_s: float
    wet: str


class Phase(StrEnum):
    """Where a cohort is on its heat curve."""

    TO_COME = "peak to come"
    NEAR = "about at its peak"
    PASSED = "peak passed"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class CohortHeat:
    """A cohort's median heat at the end of the window [W/kg] and where it is on its curve.

    `peak_s` is when the warmest was, or when its strain is expected to peak.
    """

    cohort: str
    strain: str
    spawn_lot: str
    bags: int
    age_h: float
    heat_w_per_kg: float | None
    slope_w_per_kg_day: float | None
    phase: Phase
    peak_w_per_kg: float | None = None
    peak_s: float | None = None


@dataclass(frozen=True, slots=True)
class Mover:
    """A bag whose excess [K] moved by `moved_k` between the window's ends, and what the judge
    says of it: its last evidence, and the alarm that stands on it."""

    bag: str
    strain: str
    rack: str
    shelf: int | None
    slot: int | None
    moved_k: float
    excess_k: float
    over_cohort: bool
    last_s: float
    evidence: Evidence | None
    alarm: Reason | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class ProbeNight:
    """A probe that was not heard or not believed all night."""

    probe: str
    bag: str
    silent_s: float
    longest: Window | None
    back: bool
    doubts: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class AlarmNight:
    """An alarm that stood in the window: for how long, and who answered after how long.

    `raised` is its newest event that called for somebody.
    """

    alarm_id: str
    kind: AlarmKind
    urgency: Urgency
    raised: AlarmEvent
    stood_s: float
    stands: bool
    answered_by: str
    answered_after_s: float | None
    state: str = ""


@dataclass(frozen=True, slots=True)
class Compared:
    """This night's mean and swing beside those of earlier nights [K]."""

    nights: int
    warmer_k: float
    swing_k: float


@dataclass(frozen=True, slots=True)
class Point:
    """Ten minutes of the room for a chart [°C, %]."""

    at_s: float
    low_c: float | None
    mean_c: float | None
    high_c: float | None
    humidity: float | None
    dew_c: float | None


@dataclass(frozen=True, slots=True)
class Night:
    """One night as the review tells it; None and empty where nothing is known."""

    window: Window
    band_c: tuple[float, float]
    level: Level | None
    above_s: float
    below_s: float
    drift: Drift | None
    rhythm: Rhythm | None
    spacing_s: float | None
    happenings: tuple[Happening, ...]
    layers: Layers | None
    moist: Moist | None
    cohorts: tuple[CohortHeat, ...]
    movers: tuple[Mover, ...]
    probes: tuple[ProbeNight, ...]
    alarms: tuple[AlarmNight, ...]
    compared: Compared | None
    course: tuple[Point, ...]
    bags: int
    bags_heard: int
    rolled: bool = False
