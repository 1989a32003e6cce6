"""The probe of a bag that was just handled is not said to have fallen off; over the whole road."""

from __future__ import annotations

from dataclasses import replace

from monitor.judge.strain import Strain
from monitor.judge.tracks import Track
from monitor.road import Plan, Road, RoadParams
from monitor.terms import HOUR_S
from monitor.values import AlarmKind, Bag, BookEntry, Probe, Quantity, Reading, Reason
from tests.judge.coarse_room import BAGS, FELL_H, room

HOURS = FELL_H + 7.0
NAMES = [f"b{number}" for number in range(BAGS)]
PROBES = {
    **{name: Probe(name, bag=f"B{name}", rack="R1", shelf=2) for name in NAMES},
    "air": Probe("air", rack="R1", shelf=2),
}
A_BAG = Bag("", "batch", "GO-12", "L1", -HOUR_S, 2.4, "R1", 2, 1)
BOOK = {f"B{name}": replace(A_BAG, bag=f"B{name}", probe=name) for name in NAMES}


def said_to_have_fallen(entries: tuple[BookEntry, ...]) -> set[str]:
    """Probes of which the road says so, in a room whose first probe hangs in the air from
    `FELL_H` on."""
    road = Road(RoadParams(), Plan(BOOK, PROBES), lambda name: Strain(name=name))
    frames = room(HOURS, off_bag=lambda hour: hour >= FELL_H, digit_k=0.0625, noise_k=0.045)
    told, left = set[str](), list(entries)
    for end_s, names, values_c, airs_c, _ in frames:
        while left and left[0].at_s < end_s:
            road.note(left.pop(0))
        for name, value_c in zip((*names, "air"), (*values_c, airs_c[0]), strict=True):
            for at_s in (end_s - 600.0, end_s - 300.0):
                road.feed(Reading(name, Quantity.TEMPERATURE, value_c, at_s, at_s))
        told |= {
            condition.subject
            for condition in road.close(end_s).conditions
            if condition.kind is AlarmKind.PROBE and condition.reason is Reason.PROBE_FELL_OFF
        }
    return told


def test_of_a_bag_that_the_book_says_was_handled_no_probe_fell() -> None:
    moved = BookEntry(FELL_H * HOUR_S, "Bb0", "moved")
    assert said_to_have_fallen(()) == {"b0"}
    assert said_to_have_fallen((moved,)) == set()
    assert said_to_have_fallen((replace(moved, bag="Bb1"),)) == {"b0"}


def test_a_probe_is_off_its_bag_by_either_account() -> None:
    assert not Track().is_off
    assert Track(fell_s=100.0).is_off and Track(swings_s=100.0).is_off
