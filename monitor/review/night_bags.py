"""Bags in a night: each cohort on its heat curve, and the bags that moved most."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from monitor.review.night_nouns import CohortHeat, Mover, NightData, Phase, Series
from monitor.review.slopes import theil_sen
from monitor.terms import HOUR_S, LEAVES
from monitor.values import (
    AlarmEvent,
    AlarmKind,
    Bag,
    Estimate,
    Evidence,
    Reason,
    Transition,
)

DAY_H = 24.0
MOST_MOVERS = 5
#: A smaller move is none [K].
LEAST_MOVE_K = 0.05
#: Hours at either end of the window whose median says where a bag stood.
END_H = 2.0
#: A cohort is past its peak once it gives clearly less than it did.
PAST_SHARE = 0.9
#: Heat below which a cohort has not begun to warm [W/kg].
COLD_W_PER_KG = 0.05
#: Greatest heat under which a cohort has not risen yet where its strain's peak is ahead [W/kg].
FLICKER_W_PER_KG = 0.15
_BAG_ALARMS = (AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG, AlarmKind.OVERHEATING)

Judged = tuple[Estimate, Evidence | None]


def find_cohorts(data: NightData) -> tuple[CohortHeat, ...]:
    """Every cohort with a bag in the room, in order of strain and lot."""
    members: dict[str, list[Bag]] = {}
    for bag in data.bags.values():
        if bag.inoculated_s < data.window.end_s and data.handled.get(bag.bag) not in LEAVES:
            members.setdefault(bag.cohort, []).append(bag)
    heats = {
        cohort: (
            _median_heat(data.earlier, {bag.bag for bag in bags}),
            _median_heat(data.estimates, {bag.bag for bag in bags}),
        )
        for cohort, bags in members.items()
    }
    found = [_cohort(data, cohort, bags, *heats[cohort]) for cohort, bags in members.items()]
    return tuple(sorted(found, key=lambda one: (one.strain, one.spawn_lot, one.cohort)))


def _median_heat(judged: Sequence[Judged], bags: set[str]) -> Series:
    """The median heat of some bags by time [W/kg]."""
    by_time: dict[float, list[float]] = {}
    for estimate, _ in judged:
        if estimate.bag in bags and estimate.heat_w_per_kg is not None:
            by_time.setdefault(estimate.at_s, []).append(estimate.heat_w_per_kg)
    return tuple((at_s, median(by_time[at_s])) for at_s in sorted(by_time))


def _cohort(
    data: NightData, cohort: str, bags: Sequence[Bag], earlier: Series, night: Series
) -> CohortHeat:
    strain = bags[0].strain
    inoculated_s = median(bag.inoculated_s for bag in bags)
    age_h = (data.window.end_s - inoculated_s) / HOUR_S
    now = median(heat for _, heat in night[-3:]) if night else None
    slope, sign = None, 0
    if len(night) >= 4:
        hours = [at_s / HOUR_S for at_s, _ in night]
        fitted = theil_sen(hours, [heat for _, heat in night])
        slope, sign = fitted.slope * DAY_H, fitted.sign
    whole = tuple(sorted({*earlier, *night}))
    expected_h = data.peak_h.get(strain)
    ahead = expected_h is not None and expected_h > age_h
    phase, peak, peak_s = _phase(whole, now, sign, ahead)
    if phase is Phase.TO_COME:
        peak = None
        peak_s = inoculated_s + expected_h * HOUR_S if expected_h is not None and ahead else None
    return CohortHeat(
        cohort=cohort,
        strain=strain,
        spawn_lot=bags[0].spawn_lot,
        bags=len(bags),
        age_h=age_h,
        heat_w_per_kg=now,
        slope_w_per_kg_day=slope,
        phase=phase,
        peak_w_per_kg=peak,
        peak_s=peak_s,
    )


def _phase(
    whole: Series, now: float | None, sign: int, ahead: bool
) -> tuple[Phase, float | None, float | None]:
    """Where the course of a cohort's heat is, with its greatest heat and when that was.

    `sign` is that of its slope over the night; one that rises well under its greatest heat has
    its peak to come only where that of its strain is `ahead`.
    """
    if now is None or len(whole) < 4:
        return Phase.UNKNOWN, None, None
    peak_s, peak = max(_steadied(whole), key=lambda one: one[1])
    if peak < (FLICKER_W_PER_KG if ahead else COLD_W_PER_KG):
        return Phase.TO_COME, None, None
    if now <= PAST_SHARE * peak and (sign <= 0 or not ahead):
        return Phase.PASSED, peak, peak_s
    if sign > 0:
        return Phase.TO_COME, peak, peak_s
    return Phase.NEAR, peak, peak_s


def _steadied(course: Series) -> Series:
    """Medians of three, so that one odd hour makes no peak."""
    return tuple(
        (course[i][0], median(one[1] for one in course[i - 1 : i + 2]))
        for i in range(1, len(course) - 1)
    )


def find_movers(data: NightData) -> tuple[Mover, ...]:
    """The five bags whose excess moved most between the ends of the window.

    Excess over the cohort where the judge gives it at both ends, else the surface over the
    local air.
    """
    courses: dict[str, list[Judged]] = {}
    for estimate, evidence in data.estimates:
        courses.setdefault(estimate.bag, []).append((estimate, evidence))
    alarms = _standing(data.events)
    found = [
        mover
        for bag, course in courses.items()
        if (mover := _mover(data, bag, course, alarms.get(bag))) is not None
        and abs(mover.moved_k) >= LEAST_MOVE_K
    ]
    return tuple(sorted(found, key=lambda one: -abs(one.moved_k))[:MOST_MOVERS])


def _mover(
    data: NightData, bag: str, course: Sequence[Judged], alarm: Reason | None
) -> Mover | None:
    over_cohort = tuple(
        (one.at_s, evidence.excess_k)
        for one, evidence in course
        if evidence is not None and evidence.excess_k is not None
    )
    over_air = tuple(
        (one.at_s, one.surface_c - one.local_air_c)
        for one, _ in course
        if one.surface_c is not None and one.local_air_c is not None
    )
    ends = _ends(over_cohort, data)
    by_cohort = ends is not None
    ends = ends or _ends(over_air, data)
    if ends is None:
        return None
    place = data.bags.get(bag)
    return Mover(
        bag=bag,
        strain=place.strain if place else "",
        rack=place.rack if place else "",
        shelf=place.shelf if place else None,
        slot=place.slot if place else None,
        moved_k=ends[1] - ends[0],
        excess_k=ends[1],
        over_cohort=by_cohort,
        last_s=(over_cohort if by_cohort else over_air)[-1][0],
        evidence=course[-1][1],
        alarm=alarm,
        note=data.handled.get(bag, ""),
    )


def _ends(course: Series, data: NightData) -> tuple[float, float] | None:
    """Where a bag stood in the first and in the last hours; None unless both are known."""
    if not course:
        return None
    first_s, last_s = course[0][0], course[-1][0]
    if last_s - first_s < data.window.length_s / 2:
        return None
    first = [value for at_s, value in course if at_s - first_s <= END_H * HOUR_S]
    last = [value for at_s, value in course if last_s - at_s <= END_H * HOUR_S]
    return median(first), median(last)


def _standing(events: Sequence[AlarmEvent]) -> Mapping[str, Reason]:
    """The reason of the alarm that stands on each bag at the end of the events."""
    stands: dict[str, Reason] = {}
    for event in events:
        if event.kind in _BAG_ALARMS:
            if event.transition is Transition.RETURNED:
                stands.pop(event.facts.bag or event.subject, None)
            else:
                stands[event.facts.bag or event.subject] = event.reason
    return stands
