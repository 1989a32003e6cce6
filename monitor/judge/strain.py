"""What the judge knows of a strain before a run begins: thresholds, limits, a heat prior.

Plain parameters; settings fill them from `config/strains.yaml`, the defaults serve any
strain nobody has met.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class CoreLimit:
    """A core at or above `core_c` for `duration_s` harms the strain; store limit and duration."""

    core_c: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class HeatPrior:
    """What the cohort's surface excess is expected to do, each with its spread (1 sd).

    `peak_k` surface warmth over local air at the peak [K], `peak_h` age at the peak [h],
    `rise_h` the logistic time constant of colonisation [h], `keep` the share of the peak
    that maintenance heat keeps after full run.
    """

    peak_k: float = 1.5
    peak_k_sd: float = 1.0
    peak_h: float = 130.0
    peak_h_sd: float = 60.0
    rise_h: float = 17.0
    rise_h_sd: float = 8.5
    keep: float = 0.25
    keep_sd: float = 0.15

    @property
    def most_rise_share(self) -> float:
        """The greatest share of the peak's age that its time constant may be: a fifth, or as much
        more as is known of the strain, up to a quarter.

        A broader hump is how a whole lot of bags looks that go bad one after the other.
        """
        return min(0.25, max(0.2, 1.25 * self.rise_h / self.peak_h))


@dataclass(frozen=True, slots=True)
class Strain:
    """A strain's thresholds: least excess worth a walk [K], false calls accepted per 100
    bags and run, how long a call must hold [s], core limits and the heat prior."""

    name: str = "generic"
    group: str = ""
    known: bool = False
    least_excess_k: float = 0.5
    false_calls_per_100: float = 0.5
    hold_s: float = 3600.0
    core_limits: tuple[CoreLimit, ...] = (
        CoreLimit(31.5, 96 * 3600.0),
        CoreLimit(36.0, 24 * 3600.0),
        CoreLimit(40.0, 1800.0),
    )
    run_days: tuple[float, float] = (10.0, 30.0)
    prior: HeatPrior = field(default_factory=HeatPrior)
