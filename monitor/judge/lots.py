"""What can be said of a whole cohort: hotter or slower than its strain's earlier runs, two
strains booked as one, or bags that differ as bags of one lot do not. A comparison of one bag with
its mates sees none of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.judge.looks import Course
from monitor.judge.spread import typical
from monitor.judge.strain import Strain
from monitor.judge.verdicts import Standing
from monitor.values import Reason

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LotParams:
    """When a cohort is said to stand apart.

    `fewest` bags in a cohort, and in each half of one that looks like two; `apart_sd` spreads
    of the strain's earlier runs; `slow_share` of the peak its earlier runs had reached by
    then; `gap_h`, `gap_strength` between two halves (a lead of 9 h and 13 % of strength are
    usual inside a cohort), and `split_nats` by which two groups must explain it better.
    `uneven_strength`, `uneven_h` are spreads told by the middle half of `fewest_uneven` bags or
    more: where few bags were hot, 577 cohorts of simulated rooms came to 0.31 and 19.9 h, 98 in
    100 to 0.22 and 15.2 h; 7 of 8 lots that went bad as a whole on walks passed one or the other.
    """

    fewest: int = 3
    apart_sd: float = 2.0
    slow_share: float = 0.35
    gap_h: float = 30.0
    gap_strength: float = 0.5
    split_nats: float = 6.0
    fewest_uneven: int = 6
    uneven_strength: float = 0.25
    uneven_h: float = 22.0


def judge_lot(
    course: Course,
    standings: Sequence[Standing],
    age_h: float,
    warmth_k: float,
    strain: Strain,
    params: LotParams,
) -> Reason | None:
    """The one thing to say of a cohort at `age_h`, if anything.

    `warmth_k` median warmth of its bags beyond their offsets [K]. Earlier runs count only for
    a strain that has any (`strain.known`).
    """
    if len(standings) < params.fewest:
        return None
    prior = strain.prior
    if strain.known:
        if course.peak_k > prior.peak_k + params.apart_sd * prior.peak_k_sd and (
            warmth_k > prior.peak_k + params.apart_sd * prior.peak_k_sd
        ):
            return Reason.LOT_HOT
        late_h = prior.peak_h + params.apart_sd * prior.peak_h_sd
        if (
            age_h > late_h
            and course.peak_h > late_h
            and warmth_k < params.slow_share * prior.peak_k
        ):
            return Reason.LOT_SLOW
    if age_h > course.peak_h + 2.0 * course.rise_h:
        usual = [one for one in standings if one.hot < 0.0 and one.rows]
        lead = np.array([one.shift_h for one in usual])
        strength = np.log(np.maximum([one.strength for one in usual], 0.1))
        if _is_two(lead, params.gap_h, params) or _is_two(strength, params.gap_strength, params):
            return Reason.COHORT_IS_TWO
    return Reason.LOT_UNEVEN if _uneven(standings, params) else None


def _uneven(standings: Sequence[Standing], params: LotParams) -> bool:
    """Whether bags of a cohort that rose half a day ago differ as those of one lot do not: where
    most go bad, each at its own time, none stands out for long."""
    risen = [one for one in standings if one.rows and one.row_h > one.rising_h + 12.0]
    if len(risen) < params.fewest_uneven:
        return False
    strength = np.array([one.strength for one in risen])
    lead_h = np.array([one.shift_h for one in risen])
    return (
        typical(strength - np.median(strength)) > params.uneven_strength
        or typical(lead_h - np.median(lead_h)) > params.uneven_h
    )


def _is_two(values: Array, gap: float, params: LotParams) -> bool:
    """Whether values fall into two groups: two means explain them better than one by more
    than `split_nats`, and lie more than `gap` apart."""
    count = len(values)
    if count < 2 * params.fewest:
        return False
    ordered = np.sort(values)
    whole = float(((ordered - ordered.mean()) ** 2).sum())
    best, apart = whole, 0.0
    for cut in range(params.fewest, count - params.fewest + 1):
        low, high = ordered[:cut], ordered[cut:]
        left = float(((low - low.mean()) ** 2).sum() + ((high - high.mean()) ** 2).sum())
        if left < best:
            best, apart = left, float(high.mean() - low.mean())
    floor = count * (0.1 * gap) ** 2
    gain = 0.5 * count * float(np.log((whole + floor) / (best + floor)))
    return apart > gap and gain > params.split_nats
