"""Which bags run alike, and since when: a cohort, less those of it that were shaken.

Break and shake tears the mycelium apart: growth rests for 24 to 72 h (common practice, no source),
each bag for a time of its own, and then begins anew from every grain. Bags of a cohort shaken
together are a cohort anew, whose age counts from then; what was read of them before says nothing
of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from monitor.judge.cohort import Spread
from monitor.judge.strain import HeatPrior
from monitor.terms import HOUR_S
from monitor.values import Bag

#: Shaken within so long of the one before is shaken together [s].
TOGETHER_S = 12.0 * HOUR_S
#: How long growth rests, and by how much that differs from bag to bag (1 sd) [h].
REST_H, REST_SD_H = 48.0, 14.0


@dataclass(frozen=True, slots=True)
class Session:
    """Bags that run alike: their names, since when [s], and whether from a shake on."""

    cohort: str
    bags: list[str]
    begun_s: float
    inoculated_s: float
    shaken: bool

    @property
    def name(self) -> str:
        """The cohort's name; a shaken one's with the moment."""
        return f"{self.cohort}, shaken {self.begun_s:.0f}" if self.shaken else self.cohort

    def prior(self, strain: HeatPrior) -> HeatPrior:
        """What is expected of its heat, by age since it began.

        After a shake the peak that was to come is later by the rest; half a time constant at least
        is left to grow, as bags that have run through are not shaken.
        """
        if not self.shaken:
            return strain
        left_h = strain.peak_h - (self.begun_s - self.inoculated_s) / HOUR_S
        return replace(
            strain,
            peak_h=REST_H + max(0.5 * strain.rise_h, left_h),
            peak_h_sd=math.hypot(strain.peak_h_sd, REST_SD_H),
        )

    def spread(self, usual: Spread) -> Spread:
        """How its bags differ: after a shake by how long each rested as well."""
        if not self.shaken:
            return usual
        return replace(
            usual,
            lead_h=math.hypot(usual.lead_h, REST_SD_H),
            wild_lead_h=math.hypot(usual.wild_lead_h, REST_SD_H),
        )


def sessions(bags: Mapping[str, Bag], shaken_s: Mapping[str, float]) -> dict[str, Session]:
    """All bags by session name; `shaken_s` when bags were shaken last [s]."""
    found: dict[str, Session] = {}
    last: dict[str, Session] = {}
    for name in sorted(bags, key=lambda name: (shaken_s.get(name, -math.inf), name)):
        bag, at_s = bags[name], shaken_s.get(name)
        mates = last.get(bag.cohort)
        if mates is None or (at_s is not None and at_s > _reaches_s(mates, shaken_s)):
            begun_s = bag.inoculated_s if at_s is None else at_s
            mates = Session(bag.cohort, [], begun_s, bag.inoculated_s, at_s is not None)
            found[mates.name] = last[bag.cohort] = mates
        mates.bags.append(name)
    return found


def _reaches_s(mates: Session, shaken_s: Mapping[str, float]) -> float:
    """Up to when a bag must have been shaken to be one of them [s]."""
    return shaken_s[mates.bags[-1]] + TOGETHER_S if mates.shaken else -math.inf
