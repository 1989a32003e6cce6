"""From evidence to conditions: which bag is called hot or stalled, which probe at fault."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from monitor.judge.neighbours import Neighbours, Places
from monitor.judge.probe_faults import ProbeFault
from monitor.judge.strain import Strain
from monitor.terms import HOUR_S
from monitor.values import (
    AlarmKind,
    Bag,
    Condition,
    Estimate,
    Evidence,
    Facts,
    Quantity,
    Reason,
    Urgency,
)


@dataclass(frozen=True, slots=True)
class CallParams:
    """When evidence becomes a call. Evidence in natural log odds, excess in K, times in s.

    `look_again` below the needed evidence a bag goes into the morning message. A call once
    made stands until evidence falls `deadband` below what it needed, or its excess under
    `keep_share` of the least worth a walk. `now_k` of excess asks for someone now, as does a
    core within `core_near_k` of a limit that harms within `core_near_s`. A called bag that
    is no longer seen (its probe silent) stays called for `keep_unseen_s`.
    """

    look_again: float = 2.0
    deadband: float = 1.5
    keep_share: float = 0.5
    now_k: float = 2.5
    now_keep_k: float = 2.0
    core_near_k: float = 1.0
    core_near_s: float = 24 * HOUR_S
    keep_unseen_s: float = 12 * HOUR_S


@dataclass(slots=True)
class _Case:
    """How one bag stands on one side: since when it passed each bar, and whether it is called."""

    past_s: float | None = None
    near_s: float | None = None
    called: bool = False
    looked: bool = False
    urgent: bool = False
    seen_s: float = 0.0


class Calls:
    """Holds a bag's evidence against its strain's bars over time."""

    def __init__(self, params: CallParams | None = None) -> None:
        self._params = params or CallParams()
        self._cases: dict[tuple[str, AlarmKind], _Case] = {}

    def step(
        self,
        end_s: float,
        verdicts: Mapping[str, tuple[Estimate, Evidence]],
        bags: Mapping[str, Bag],
        strain_of: Callable[[str], Strain],
        faults: Iterable[ProbeFault],
    ) -> tuple[Condition, ...]:
        """Conditions `hot bag`, `stalled bag` and `probe` at a frame's end, in a fixed order."""
        faults = tuple(faults)
        void = {one.bag for one in faults if one.bag and one.reason is not Reason.PROBE_SILENT}
        self._cases = {key: case for key, case in self._cases.items() if key[0] in bags}
        found = [_probe_condition(fault, bags, end_s) for fault in faults]
        places = Places(bags)
        for code in sorted(verdicts):
            bag = bags.get(code)
            if bag is None:
                continue
            estimate, evidence = verdicts[code]
            strain = strain_of(bag.strain)
            for kind in (AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG):
                case = self._cases.setdefault((code, kind), _Case())
                self._weigh(case, kind, estimate, evidence, strain, end_s, code in void)
                if case.called or case.looked:
                    facts = _bag_facts(bag, strain, estimate, evidence, kind, places.near(bag))
                    found.append(
                        Condition(kind, code, _urgency(case), _reason(case, kind, evidence), facts)
                    )
        return tuple(found)

    def _weigh(
        self,
        case: _Case,
        kind: AlarmKind,
        estimate: Estimate,
        evidence: Evidence,
        strain: Strain,
        end_s: float,
        void: bool,
    ) -> None:
        """Move one case on; a bag unseen keeps its case, one whose probe lied loses it."""
        params = self._params
        if evidence.reason is Reason.NO_SIGNAL or evidence.excess_k is None:
            if void or end_s - case.seen_s > params.keep_unseen_s:
                case.past_s = case.near_s = None
                case.called = case.looked = case.urgent = False
            return
        case.seen_s = end_s
        hot = kind is AlarmKind.HOT_BAG
        odds = evidence.hot if hot else evidence.stalled
        needed = evidence.hot_needed if hot else evidence.stalled_needed
        off_k = evidence.excess_k if hot else -evidence.excess_k
        handled = evidence.reason is Reason.HANDLED
        least_k = strain.least_excess_k
        # What a walk told has held since the walk, not since its row was looked at.
        from_s = end_s if evidence.walk_s is None else evidence.walk_s
        case.past_s = _since(case.past_s, odds >= needed and off_k >= least_k, handled, from_s)
        near = odds >= needed - params.look_again and off_k >= least_k
        case.near_s = _since(case.near_s, near, handled, from_s)
        keeps_k = params.keep_share * least_k
        if _held(case.past_s, strain.hold_s, end_s):
            case.called = True
        elif odds < needed - params.deadband or off_k < keeps_k:
            case.called = False
        if _held(case.near_s, strain.hold_s, end_s):
            case.looked = True
        elif odds < needed - params.look_again - params.deadband or off_k < keeps_k:
            case.looked = False
        bar_k = params.now_keep_k if case.urgent else params.now_k
        case.urgent = hot and (off_k >= bar_k or self._core_is_near(estimate, strain))

    def _core_is_near(self, estimate: Estimate, strain: Strain) -> bool:
        core_c = estimate.core_c
        return core_c is not None and any(
            core_c >= limit.core_c - self._params.core_near_k
            for limit in strain.core_limits
            if limit.duration_s <= self._params.core_near_s
        )

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "cases": [
                [bag, kind.value, asdict(case)] for (bag, kind), case in sorted(self._cases.items())
            ]
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._cases = {(bag, AlarmKind(kind)): _Case(**case) for bag, kind, case in state["cases"]}


def _since(before_s: float | None, holds: bool, handled: bool, from_s: float) -> float | None:
    """Since when something holds; a bag just handled starts nothing and ends nothing."""
    if not holds:
        return before_s if handled else None
    if before_s is None:
        return None if handled else from_s
    return before_s


def _held(since_s: float | None, hold_s: float, end_s: float) -> bool:
    return since_s is not None and end_s - since_s >= hold_s


def _urgency(case: _Case) -> Urgency:
    if not case.called:
        return Urgency.LATER
    return Urgency.NOW if case.urgent else Urgency.TODAY


def _reason(case: _Case, kind: AlarmKind, evidence: Evidence) -> Reason:
    """The evidence's own reason where it says how the call was made, else the plain one."""
    if not case.called:
        return Reason.LOOK_AGAIN
    if evidence.reason in (Reason.EARLIER_RUNS, Reason.NEVER_WARMED):
        return evidence.reason
    return Reason.ADDED_HEAT if kind is AlarmKind.HOT_BAG else Reason.COLDER


def _bag_facts(
    bag: Bag,
    strain: Strain,
    estimate: Estimate,
    evidence: Evidence,
    kind: AlarmKind,
    near: Neighbours,
) -> Facts:
    return Facts(
        bag=bag.bag,
        probe=bag.probe,
        cohort=evidence.cohort,
        strain=bag.strain or strain.name,
        rack=bag.rack,
        shelf=bag.shelf,
        slot=bag.slot,
        surface_c=estimate.surface_c,
        air_c=estimate.local_air_c,
        excess_k=evidence.excess_k,
        added_w_per_kg=evidence.added_w_per_kg,
        rate_k_per_h=estimate.rate_k_per_h,
        evidence=evidence.hot if kind is AlarmKind.HOT_BAG else evidence.stalled,
        peers=evidence.peers,
        since_s=evidence.onset_s,
        core_c=estimate.core_c,
        next_slot=near.next_slot,
        next_inoculated=near.next_inoculated,
        same_lot=near.same_lot,
        detail=evidence.clears_at,
    )


def _probe_condition(fault: ProbeFault, bags: Mapping[str, Bag], end_s: float) -> Condition:
    """A probe at fault: today if a bag or the room's temperature goes unseen, else later."""
    humid = fault.quantity is Quantity.HUMIDITY
    passing = fault.reason is Reason.PROBE_JUMPED
    bag = bags.get(fault.bag)
    facts = Facts(
        bag=fault.bag,
        probe=fault.probe,
        strain="" if bag is None else bag.strain,
        rack="" if bag is None else bag.rack,
        shelf=None if bag is None else bag.shelf,
        slot=None if bag is None else bag.slot,
        since_s=fault.since_s,
        silent_for_s=end_s - fault.since_s if fault.reason is Reason.PROBE_SILENT else None,
        detail=fault.detail,
    )
    urgency = Urgency.LATER if humid or passing else Urgency.TODAY
    return Condition(AlarmKind.PROBE, fault.probe, urgency, fault.reason, facts)
