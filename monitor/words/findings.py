"""What was found, in short phrases: levels, distances, limits, since when, how fast, how sure.

Every phrase is left out where its fact is unknown.
"""

from __future__ import annotations

from datetime import tzinfo

from monitor.values import AlarmEvent, AlarmKind, Facts, Reason
from monitor.words.naming import clean
from monitor.words.quantities import (
    difference,
    duration,
    in_units,
    moment,
    odds,
    temperature,
    temperatures,
    watts_per_kg,
)

_STEADY_K_PER_H = 0.05


def levels(event: AlarmEvent, units: str) -> list[str]:
    """The numbers of the alarm's kind, the telling one first."""
    facts = event.facts
    if event.kind is AlarmKind.OVERHEATING:
        return _core(facts, units) + _surface(facts, units)
    if event.kind in (AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG):
        return _excess(event, units) + _surface(facts, units) + _heat(facts)
    if event.kind is AlarmKind.LOT_APART:
        return _excess(event, units) + _bags_in_it(facts)
    if event.kind is AlarmKind.ROOM:
        return _room(event, units)
    return _said(event, units)


def figure(event: AlarmEvent, units: str) -> str:
    """The one number that tells most, for a title; empty where it is unknown."""
    facts = event.facts
    if event.kind is AlarmKind.OVERHEATING:
        return "" if facts.core_c is None else temperature(facts.core_c, units)
    if event.kind is AlarmKind.ROOM:
        return "" if facts.air_c is None else temperature(facts.air_c, units)
    if facts.excess_k is None:
        return ""
    return ("+" if facts.excess_k >= 0 else "") + difference(facts.excess_k, units)


def _excess(event: AlarmEvent, units: str) -> list[str]:
    facts = event.facts
    if facts.excess_k is None:
        return []
    side = "over" if facts.excess_k >= 0 else "under"
    by = difference(abs(facts.excess_k), units)
    if event.kind is AlarmKind.LOT_APART or event.reason is Reason.EARLIER_RUNS:
        return [f"{by} {side} what earlier runs explain"]
    if not facts.peers:
        return [f"{by} {side} what its cohort explains"]
    if facts.peers == 1:
        return [f"{by} {side} what its one cohort mate explains"]
    return [f"{by} {side} what its {facts.peers} cohort mates explain"]


def _surface(facts: Facts, units: str) -> list[str]:
    said = []
    if facts.surface_c is not None:
        said.append(f"{temperature(facts.surface_c, units)} on its surface")
    if facts.air_c is not None:
        said.append(f"{temperature(facts.air_c, units)} in the air beside it")
    return [" with ".join(said)] if said else []


def _heat(facts: Facts) -> list[str]:
    if facts.added_w_per_kg is None or facts.added_w_per_kg < 0.005:
        return []
    return [f"about {watts_per_kg(facts.added_w_per_kg)} of added heat"]


def _core(facts: Facts, units: str) -> list[str]:
    said = []
    if facts.core_c is not None:
        said.append(f"core about {temperature(facts.core_c, units)} by estimate")
    if facts.limit_c is not None:
        for_time = f" for {duration(facts.limit_duration_s)}" if facts.limit_duration_s else ""
        said.append(f"limit {temperature(facts.limit_c, units)}{for_time}")
    if facts.reached_in_s is not None:
        limit = "which is" if facts.limit_c is not None else "its limit is"
        left = f" in about {duration(facts.reached_in_s)}" if facts.reached_in_s > 0 else ""
        said.append(f"{limit} used up{left}")
    return said


def _room(event: AlarmEvent, units: str) -> list[str]:
    facts, said = event.facts, []
    if facts.air_c is not None:
        said.append(f"air at {temperature(facts.air_c, units)}")
    if facts.low_c is not None and facts.high_c is not None:
        said.append(f"band {temperatures(facts.low_c, facts.high_c, units)}")
    if facts.silent_for_s is not None:
        said.append(f"no reading for {duration(facts.silent_for_s)}")
    return said + _bags_in_it(facts) + _said(event, units)


def _bags_in_it(facts: Facts) -> list[str]:
    if not facts.affected:
        return []
    return [f"{facts.affected} bag{'' if facts.affected == 1 else 's'} in it"]


def _said(event: AlarmEvent, units: str) -> list[str]:
    """The detail without the name it repeats, and how long it has been quiet."""
    facts, said = event.facts, []
    detail, subject = clean(facts.detail), clean(event.subject)
    lead, _, rest = detail.partition(": ")
    if rest and subject.endswith(lead):
        detail = rest
    if detail and not subject.endswith(detail):
        said.append(in_units(detail.rstrip("."), units))
    # of a room it is told before, of a probe by when it fell silent
    if facts.silent_for_s is not None and event.kind not in (AlarmKind.ROOM, AlarmKind.PROBE):
        said.append(f"nothing read for {duration(facts.silent_for_s)}")
    if event.reason is Reason.WAS_DARK:
        said += _air_over_the_gap(facts, units)
    return said


def _air_over_the_gap(facts: Facts, units: str) -> list[str]:
    """How far the room went while nobody watched, as far as anything was heard of it."""
    if facts.air_c is None or facts.air_before_c is None:
        return ["the air after it is not known yet"] if facts.air_c is None else []
    before, after = (temperature(one, units) for one in (facts.air_before_c, facts.air_c))
    said = [f"the air was {before} before and {after} after"]
    if facts.low_c is not None and facts.high_c is not None:
        said.append(f"it is known to have been {temperatures(facts.low_c, facts.high_c, units)}")
    return said


def since(event: AlarmEvent, since_s: float, zone: tzinfo) -> str:
    """ "since Tue 12:40"; "since about" where heat is told to have begun by its course, as nobody
    saw it begin and the next readings may tell another hour."""
    about = "about " if event.kind in (AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG) else ""
    return f"since {about}{moment(since_s, zone, event.at_s)}"


def timing(event: AlarmEvent, units: str, zone: tzinfo) -> list[str]:
    """Since when, and how fast it goes."""
    facts, said = event.facts, []
    if facts.since_s is not None:
        held_s = event.at_s - facts.since_s
        held = f" ({duration(held_s)})" if held_s >= 60 else ""
        said.append(f"{since(event, facts.since_s, zone)}{held}")
    if facts.rate_k_per_h is not None:
        said.append(_rate(facts.rate_k_per_h, units))
    return said


def _rate(rate_k_per_h: float, units: str) -> str:
    if abs(rate_k_per_h) < _STEADY_K_PER_H:
        return "steady"
    way = "rising" if rate_k_per_h > 0 else "falling"
    return f"{way} {difference(abs(rate_k_per_h), units)} an hour"


def remark(event: AlarmEvent, units: str) -> str:
    """One more sentence: what becomes of a doubted probe's readings, what the judge adds."""
    if event.kind is AlarmKind.PROBE:
        return "its readings are kept but not used"
    if event.kind in (AlarmKind.ROOM, AlarmKind.HOUSE):
        return ""
    return in_units(clean(event.facts.detail).rstrip("."), units)


def certainty(event: AlarmEvent) -> str:
    """How sure the call is; empty where there is no evidence to tell."""
    if event.facts.evidence is None:
        return ""
    if event.kind is AlarmKind.STALLED_BAG or event.reason is Reason.LOT_SLOW:
        return odds(event.facts.evidence, "the missing heat is real")
    if event.reason is Reason.COHORT_IS_TWO:
        return odds(event.facts.evidence, "these are two cohorts")
    if event.kind in (AlarmKind.HOT_BAG, AlarmKind.LOT_APART):
        return odds(event.facts.evidence, "the added heat is real")
    return odds(event.facts.evidence, "it is no chance")
