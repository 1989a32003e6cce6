"""Frames: half-open, stamped at their end, blind to the order of arrival."""

from __future__ import annotations

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.judge.frames import Frames, without
from monitor.values import Flag, Flagged, Probe, Quantity, Reading

PLAN = {
    "p1": Probe("p1", bag="B1", shelf=1),
    "p2": Probe("p2", bag="B1", shelf=1),
    "air": Probe("air", shelf=3),
    "rh": Probe("rh"),
}


def reading(
    probe: str, at_s: float, value: float, quantity: Quantity = Quantity.TEMPERATURE
) -> Flagged:
    return Flagged(Reading(probe, quantity, value, at_s, at_s), value)


def test_frame_takes_its_start_and_leaves_its_end_to_the_next() -> None:
    frames = Frames(600.0)
    for at_s, value in ((0.0, 20.0), (599.9, 22.0), (600.0, 30.0)):
        frames.add(reading("air", at_s, value))
    first, second = frames.close(600.0, PLAN), frames.close(1200.0, PLAN)
    assert (first.air_c["air"].mean, first.air_c["air"].count) == (21.0, 2)
    assert first.air_c["air"].last_s == 599.9
    assert second.air_c["air"].mean == 30.0


def test_readings_of_a_closed_frame_are_left_out() -> None:
    frames = Frames(600.0)
    frames.add(reading("air", 100.0, 20.0))
    assert frames.close(1200.0, PLAN).air_c == {}
    assert frames.close(600.0, PLAN).air_c == {}


def test_two_probes_on_one_bag_make_one_mean_under_the_bag() -> None:
    frames = Frames(600.0)
    frames.add(reading("p1", 10.0, 24.0))
    frames.add(reading("p2", 20.0, 25.0))
    frames.add(reading("rh", 20.0, 80.0, Quantity.HUMIDITY))
    frames.add(reading("stranger", 20.0, 80.0))
    frame = frames.close(600.0, PLAN)
    assert frame.surface_c["B1"].mean == 24.5
    assert frame.humidity["rh"].mean == 80.0
    assert frame.air_c == {}


def test_flagged_and_timeless_readings_never_enter() -> None:
    frames = Frames(600.0)
    frames.add(Flagged(Reading("air", Quantity.TEMPERATURE, 85.0, 1.0, 1.0), 85.0, (Flag.RANGE,)))
    frames.add(Flagged(Reading("air", Quantity.TEMPERATURE, 20.0, None, 1.0), 20.0))
    assert frames.close(600.0, PLAN).air_c == {}


def test_hand_readings_are_kept_beside_the_probes_when_probes_are_distrusted() -> None:
    frames = Frames(600.0)
    frames.add(Flagged(Reading("", Quantity.TEMPERATURE, 25.0, 9.0, 9.0, bag="B1"), 25.0))
    frames.add(reading("p1", 10.0, 24.0))
    frames.add(reading("air", 10.0, 21.0))
    frame = without(frames.close(600.0, PLAN), probes=["air", "p1"], bags=["B1"])
    assert (frame.surface_c, frame.air_c) == ({}, {})
    assert [(hand.bag, hand.surface_c, hand.at_s) for hand in frame.hand] == [("B1", 25.0, 9.0)]


@settings(max_examples=40, deadline=None)
@given(
    items=st.lists(
        st.tuples(
            st.sampled_from(["p1", "p2", "air", "rh"]),
            st.floats(0.0, 599.0),
            st.floats(-5.0, 50.0),
        ),
        max_size=30,
    ),
    data=st.data(),
)
def test_shuffled_arrival_gives_the_same_frame(
    items: list[tuple[str, float, float]], data: st.DataObject
) -> None:
    shuffled = data.draw(st.permutations(items))
    one, other = Frames(600.0), Frames(600.0)
    for probe, at_s, value in items:
        one.add(reading(probe, at_s, value))
    for probe, at_s, value in shuffled:
        other.add(reading(probe, at_s, value))
    assert one.close(600.0, PLAN) == other.close(600.0, PLAN)


def test_resuming_from_saved_state_gives_the_same_frame() -> None:
    frames, resumed = Frames(600.0), Frames(600.0)
    frames.add(reading("p1", 10.0, 24.0))
    frames.add(reading("air", 700.0, 21.0))
    resumed.restore(json.loads(json.dumps(frames.state())))
    for end_s in (600.0, 1200.0):
        assert frames.close(end_s, PLAN) == resumed.close(end_s, PLAN)
