"""Calls: evidence held against a strain's bars becomes a condition, with everything filled."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from monitor.judge.calls import Calls
from monitor.judge.neighbours import neighbours
from monitor.judge.probe_faults import ProbeFault
from monitor.judge.strain import Strain
from monitor.values import (
    AlarmKind,
    Bag,
    Condition,
    Estimate,
    Evidence,
    Quantity,
    Reason,
    Urgency,
)

FRAME_S = 600.0
STRAIN = Strain(name="GO-12", known=True)


def bag(code: str, slot: int, shelf: int = 2, lot: str = "L4", **more: object) -> Bag:
    place = {"batch": "b", "strain": "GO-12", "spawn_lot": lot, "inoculated_s": 0.0}
    return Bag(bag=code, mass_kg=2.3, rack="R1", shelf=shelf, slot=slot, **place, **more)  # type: ignore[arg-type]


BAGS = {
    one.bag: one
    for one in (
        bag("B1", 1, sequence=1),
        bag("B2", 2, sequence=2, probe="p2"),
        bag("B3", 4, sequence=9),
        bag("B4", 7, shelf=3, sequence=3),
        bag("B5", 8, shelf=3, sequence=4, lot="L5"),
        bag("B6", 9, shelf=3, sequence=5),
    )
}
ESTIMATE = Estimate("B2", 0.0, surface_c=25.0, local_air_c=22.0, excess_k=3.0, rate_k_per_h=0.2)
EVIDENCE = Evidence(
    bag="B2",
    cohort=BAGS["B2"].cohort,
    at_s=0.0,
    hot=6.0,
    stalled=-6.0,
    hot_needed=5.0,
    stalled_needed=5.0,
    peers=11,
    excess_k=1.0,
    reason=Reason.ADDED_HEAT,
    added_w_per_kg=0.4,
    onset_s=-3600.0,
    clears_at="an excess under 0.2 K",
)


class Room:
    """Steps calls for bag B2 frame by frame."""

    def __init__(self) -> None:
        self.calls = Calls()
        self.at_s = 0.0

    def step(
        self,
        evidence: Evidence,
        frames: int = 1,
        estimate: Estimate = ESTIMATE,
        faults: tuple[ProbeFault, ...] = (),
    ) -> tuple[Condition, ...]:
        found: tuple[Condition, ...] = ()
        for _ in range(frames):
            self.at_s += FRAME_S
            verdicts = {"B2": (estimate, evidence)}
            found = self.calls.step(self.at_s, verdicts, BAGS, lambda _: STRAIN, faults)
        return found


def test_bag_is_called_hot_only_once_it_held_for_its_strains_time() -> None:
    room = Room()
    assert room.step(EVIDENCE, frames=6) == ()
    (call,) = room.step(EVIDENCE)
    assert (call.kind, call.subject, call.urgency) == (AlarmKind.HOT_BAG, "B2", Urgency.TODAY)
    assert call.reason is Reason.ADDED_HEAT


def test_what_a_walk_told_has_held_since_the_walk() -> None:
    """Between walks nothing is read that could unsay it; a longer time asks for a second walk."""
    walked = replace(EVIDENCE, walk_s=-STRAIN.hold_s + FRAME_S)
    (call,) = Room().step(walked)
    assert call.kind is AlarmKind.HOT_BAG
    assert Room().step(replace(walked, walk_s=-STRAIN.hold_s / 2)) == ()


def test_a_call_carries_every_fact_of_the_bag_and_its_neighbours() -> None:
    (call,) = Room().step(EVIDENCE, frames=7)
    facts = call.facts
    assert (facts.rack, facts.shelf, facts.slot, facts.probe) == ("R1", 2, 2, "p2")
    assert (facts.surface_c, facts.air_c, facts.excess_k, facts.peers) == (25.0, 22.0, 1.0, 11)
    assert (facts.evidence, facts.since_s, facts.rate_k_per_h) == (6.0, -3600.0, 0.2)
    assert facts.next_slot == ("B1", "B3")
    assert facts.next_inoculated == ("B4", "B5")
    assert facts.same_lot == ("B6",)


def test_an_excess_too_small_for_a_walk_is_no_call_however_sure() -> None:
    assert Room().step(replace(EVIDENCE, hot=50.0, excess_k=0.2), frames=40) == ()


def test_evidence_a_little_short_goes_into_the_morning_message() -> None:
    (call,) = Room().step(replace(EVIDENCE, hot=3.5), frames=7)
    assert (call.urgency, call.reason) == (Urgency.LATER, Reason.LOOK_AGAIN)
    assert Room().step(replace(EVIDENCE, hot=2.9), frames=40) == ()


@pytest.mark.parametrize(
    ("evidence", "estimate"),
    [
        (replace(EVIDENCE, excess_k=2.6), ESTIMATE),
        (EVIDENCE, replace(ESTIMATE, core_c=35.2)),
    ],
)
def test_large_excess_or_a_core_near_a_limit_asks_for_someone_now(
    evidence: Evidence, estimate: Estimate
) -> None:
    (call,) = Room().step(evidence, frames=7, estimate=estimate)
    assert call.urgency is Urgency.NOW


def test_a_core_near_a_limit_that_takes_days_to_harm_can_wait() -> None:
    (call,) = Room().step(EVIDENCE, frames=7, estimate=replace(ESTIMATE, core_c=31.4))
    assert call.urgency is Urgency.TODAY


def test_urgency_does_not_flicker_about_its_bar() -> None:
    room = Room()
    room.step(replace(EVIDENCE, excess_k=2.6), frames=7)
    for excess_k in (2.4, 2.55, 2.3):
        (call,) = room.step(replace(EVIDENCE, excess_k=excess_k))
        assert call.urgency is Urgency.NOW
    (call,) = room.step(replace(EVIDENCE, excess_k=1.9))
    assert call.urgency is Urgency.TODAY


def test_colder_bag_is_called_stalled_with_its_own_evidence() -> None:
    cold = replace(EVIDENCE, hot=-9.0, stalled=7.0, excess_k=-0.9, reason=Reason.COLDER)
    (call,) = Room().step(cold, frames=7)
    assert (call.kind, call.urgency) == (AlarmKind.STALLED_BAG, Urgency.TODAY)
    assert (call.reason, call.facts.evidence) == (Reason.COLDER, 7.0)


def test_how_a_call_was_made_is_kept_as_its_reason() -> None:
    (call,) = Room().step(replace(EVIDENCE, reason=Reason.EARLIER_RUNS, peers=2), frames=7)
    assert call.reason is Reason.EARLIER_RUNS
    cold = replace(EVIDENCE, stalled=7.0, hot=-9.0, excess_k=-1.0, reason=Reason.NEVER_WARMED)
    assert Room().step(cold, frames=7)[0].reason is Reason.NEVER_WARMED


def test_a_call_stands_through_a_dip_and_ends_below_its_deadband() -> None:
    room = Room()
    room.step(EVIDENCE, frames=7)
    assert room.step(replace(EVIDENCE, hot=4.0))[0].reason is Reason.ADDED_HEAT
    assert room.step(replace(EVIDENCE, hot=3.4))[0].reason is Reason.LOOK_AGAIN
    assert room.step(replace(EVIDENCE, hot=1.0)) == ()
    room = Room()
    room.step(EVIDENCE, frames=7)
    assert room.step(replace(EVIDENCE, excess_k=0.1)) == ()


def test_handling_starts_no_call_and_forgets_none() -> None:
    handled = replace(EVIDENCE, reason=Reason.HANDLED)
    assert Room().step(handled, frames=60) == ()
    room = Room()
    room.step(EVIDENCE, frames=7)
    assert len(room.step(handled, frames=3)) == 1


def test_a_silent_probe_leaves_a_hot_bag_called_for_half_a_day() -> None:
    room, unseen = Room(), replace(EVIDENCE, reason=Reason.NO_SIGNAL, excess_k=None)
    silent = (ProbeFault("p2", "B2", Reason.PROBE_SILENT, 0.0, "no reading"),)
    room.step(EVIDENCE, frames=7)
    kinds = [call.kind for call in room.step(unseen, frames=70, faults=silent)]
    assert kinds == [AlarmKind.PROBE, AlarmKind.HOT_BAG]
    assert [call.kind for call in room.step(unseen, frames=4, faults=silent)] == [AlarmKind.PROBE]


def test_a_fallen_probe_ends_the_call_it_made_at_once() -> None:
    room, unseen = Room(), replace(EVIDENCE, reason=Reason.NO_SIGNAL, excess_k=None)
    room.step(EVIDENCE, frames=7)
    fallen = (ProbeFault("p2", "B2", Reason.PROBE_FELL_OFF, 0.0, "follows the air"),)
    assert [call.kind for call in room.step(unseen, faults=fallen)] == [AlarmKind.PROBE]


@pytest.mark.parametrize(
    ("reason", "quantity", "urgency"),
    [
        (Reason.PROBE_FELL_OFF, Quantity.TEMPERATURE, Urgency.TODAY),
        (Reason.PROBE_JUMPED, Quantity.TEMPERATURE, Urgency.LATER),
        (Reason.PROBE_STUCK, Quantity.HUMIDITY, Urgency.LATER),
    ],
)
def test_probe_faults_become_conditions_and_humidity_never_presses(
    reason: Reason, quantity: Quantity, urgency: Urgency
) -> None:
    fault = ProbeFault("p2", "B2", reason, -600.0, "why", quantity)
    (call,) = Calls().step(0.0, {}, BAGS, lambda _: STRAIN, [fault])
    assert (call.kind, call.subject, call.urgency) == (AlarmKind.PROBE, "p2", urgency)
    assert (call.facts.bag, call.facts.shelf, call.facts.since_s) == ("B2", 2, -600.0)


def test_silence_is_told_with_its_length() -> None:
    fault = ProbeFault("p9", "", Reason.PROBE_SILENT, -7200.0, "no reading")
    (call,) = Calls().step(0.0, {}, BAGS, lambda _: STRAIN, [fault])
    assert call.facts.silent_for_s == 7200.0


def test_resuming_holds_on_where_it_stopped() -> None:
    room, resumed = Room(), Room()
    room.step(EVIDENCE, frames=4)
    resumed.calls.restore(json.loads(json.dumps(room.calls.state())))
    resumed.at_s = room.at_s
    for _ in range(6):
        assert room.step(EVIDENCE) == resumed.step(EVIDENCE)


def test_neighbours_without_slots_or_order_are_only_of_the_lot() -> None:
    loose = {code: replace(one, slot=None, sequence=None) for code, one in BAGS.items()}
    near = neighbours(loose["B2"], loose)
    assert (near.next_slot, near.next_inoculated) == ((), ())
    assert near.same_lot == ("B1", "B3", "B4", "B6")
