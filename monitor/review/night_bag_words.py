"""A night's cohorts, bags, probes and alarms in words. Pure."""

from __future__ import annotations

import math
from datetime import tzinfo

from monitor.review.night_nouns import (
    AlarmNight,
    CohortHeat,
    Mover,
    Night,
    Phase,
    ProbeNight,
)
from monitor.review.night_wall import Wall
from monitor.review.nights import Window
from monitor.values import Reason, Urgency
from monitor.words import difference, duration, one_line
from monitor.words.naming import listing
from monitor.words.quantities import counted, watts_per_kg

MOST_LISTED = 8
#: A bag not heard for so long has no place now.
GONE_S = 2 * 3600.0


def cohort_words(one: CohortHeat, night: Night, wall: Wall) -> str:
    lot = f" lot {one.spawn_lot}" if one.spawn_lot else ""
    age = duration(max(one.age_h, 0.0) * 3600.0)
    bags = counted(one.bags, "bag", "bags")
    heat = "heat not known" if one.heat_w_per_kg is None else watts_per_kg(one.heat_w_per_kg)
    said = f"{one.strain}{lot}: {bags}, {age} old, {heat}"
    if one.phase is Phase.UNKNOWN:
        return said
    if one.phase is Phase.PASSED and one.peak_s is not None and one.peak_w_per_kg is not None:
        when = f"{wall.day(one.peak_s)} {wall.time(one.peak_s)}"
        return f"{said}; peak passed about {when} at {watts_per_kg(one.peak_w_per_kg)}"
    if one.phase is Phase.TO_COME and one.peak_s is not None:
        when = duration(max(one.peak_s - night.window.end_s, 0.0))
        return f"{said}; peak to come, by its strain in about {when}"
    return f"{said}; {one.phase}"


def mover_words(one: Mover, night: Night, units: str, wall: Wall) -> str:
    place = [
        part
        for part in (
            one.strain,
            f"rack {one.rack}" if one.rack else "",
            f"shelf {one.shelf}" if one.shelf is not None else "",
            f"slot {one.slot}" if one.slot is not None else "",
        )
        if part
    ]
    way = "up" if one.moved_k >= 0 else "down"
    beside = "its cohort" if one.over_cohort else "its air"
    side = "over" if one.excess_k >= 0 else "under"
    where = f" ({', '.join(place)})" if place else ""
    note = f"; {one.note} of late" if one.note else ""
    now = "now"
    if night.window.end_s - one.last_s > GONE_S:
        now = f"at {wall.time(one.last_s)}, when last heard,"
    return (
        f"{one.bag}{where}: {way} {difference(abs(one.moved_k), units)}, {now}"
        f" {difference(abs(one.excess_k), units)} {side} {beside}{note}; {_worry(one)}"
    )


def _worry(one: Mover) -> str:
    """Why the judge is or isn't worried, with the numbers it goes by."""
    evidence = one.evidence
    if one.alarm is not None:
        return f"an alarm stands: {one.alarm}"
    if evidence is None:
        return "not judged"
    if evidence.reason in (
        Reason.FEW_PEERS,
        Reason.LEARNING,
        Reason.NO_SIGNAL,
        Reason.HANDLED,
    ):
        return f"not judged: {evidence.reason}"
    cold = one.excess_k < 0
    found, needed = (
        (evidence.stalled, evidence.stalled_needed) if cold else (evidence.hot, evidence.hot_needed)
    )
    what = "missing heat" if cold else "added heat"
    said = f"{_odds(found)} to 1 for {what}" if found > math.log(1.5) else "chance explains it"
    calm = "not worried, like its cohort"
    worry = calm if evidence.reason is Reason.LIKE_ITS_COHORT else str(evidence.reason)
    return f"{worry}: {said}, an alarm asks for {_odds(needed)} to 1"


def _odds(needed: float) -> str:
    """Odds with one figure: 7.3 becomes 1,000."""
    ratio = math.exp(min(needed, 60.0))
    figure = 10.0 ** math.floor(math.log10(max(ratio, 1.0)))
    return f"{round(ratio / figure) * figure:,.0f}"


def probes_words(night: Night, wall: Wall) -> list[str]:
    lines = [_probe(one, night.window, wall) for one in night.probes[:MOST_LISTED]]
    if len(night.probes) > MOST_LISTED:
        lines.append(f"and {len(night.probes) - MOST_LISTED} more")
    if not lines and night.bags_heard:
        return [f"all heard: {counted(night.bags_heard, 'bag', 'bags')}"]
    return lines


def _probe(one: ProbeNight, window: Window, wall: Wall) -> str:
    name = f"{one.probe} (bag {one.bag})" if one.bag else f"{one.probe} (air)"
    said = []
    if one.longest is not None and one.longest.length_s >= window.length_s:
        said.append("not heard all night")
    elif one.longest is not None:
        still = one.longest.end_s >= window.end_s
        when = wall.from_to(one.longest.start_s, None if still else one.longest.end_s, window)
        said.append(f"silent {when}")
        if one.silent_s > one.longest.length_s:
            said.append(f"{duration(one.silent_s)} in all")
    said += [
        f"{counted(count, 'reading', 'readings')} flagged {flag}"
        for flag, count in sorted(one.doubts.items(), key=lambda item: -item[1])
    ]
    return f"{name}: {', '.join(said)}"


def alarms_words(night: Night, units: str, zone: tzinfo) -> list[str]:
    """A line for each alarm that was told, and one for all that were held back."""
    told = [one for one in night.alarms if not one.state]
    lines = [_alarm(one, units, zone) for one in told[:MOST_LISTED]]
    if len(told) > MOST_LISTED:
        lines.append(f"and {len(told) - MOST_LISTED} more")
    states = dict.fromkeys(one.state for one in night.alarms if one.state)
    for state in states:
        quiet = [_subject(one) for one in night.alarms if one.state == state]
        lines.append(f"{state}: {listing(quiet)}")
    return lines or ["none stood"]


def _alarm(one: AlarmNight, units: str, zone: tzinfo) -> str:
    stood = f"{'has stood' if one.stands else 'stood'} {duration(one.stood_s)}"
    if one.answered_by and one.answered_after_s is not None:
        answer = f"{one.answered_by} answered after {duration(one.answered_after_s)}"
    else:
        answer = "nobody has answered" if one.stands else "nobody answered"
    claim = one_line(one.raised, units, zone).partition(": ")[0]
    return f"{one.urgency}: {claim}; {stood}, {answer}"


def _subject(alarm: AlarmNight) -> str:
    return f"{alarm.kind} {(alarm.raised.facts.bag or alarm.raised.subject).split('/')[0]}"


def alarm_briefly_words(alarm: AlarmNight) -> str:
    """A few words for the first line."""
    answered = f", {alarm.answered_by} knows" if alarm.answered_by else ""
    when = "go in now" if alarm.urgency is Urgency.NOW else alarm.urgency.value
    return f"{_subject(alarm)} ({when}{answered})"
