"""The walk along the log: which points come of it, and that they are the same however it went."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.mirror.lines import line, tag
from monitor.mirror.points import Points
from monitor.mirror.walk import Stride, Walk
from monitor.store import mirrored
from monitor.store.mirrored import Place
from monitor.values import Flag, Quantity
from tests.mirror.rooms import ROOM, SITE, START_S, MirroredRoom


@pytest.fixture
def room(tmp_path: Path) -> Iterator[MirroredRoom]:
    made = MirroredRoom(tmp_path)
    yield made
    made.store.close()


def walked(room: MirroredRoom, place: Place | None = None) -> list[Stride]:
    walk = Walk(room.store, Points(SITE, ROOM, {"farm": "north"}), place or Place())
    return list(walk.all(lambda: room.settled))


def lines(room: MirroredRoom) -> list[str]:
    return [one.line for one in walked(room) if one.line]


def test_a_reading_bears_its_place_by_the_book_and_its_probes_offset(room: MirroredRoom) -> None:
    room.read("air", 21.5)
    room.read("p-ÄÖ 2", 23.25)
    room.read("air", 88.0, quantity=Quantity.HUMIDITY)
    room.read("new", 5.0)
    at_ms = round(START_S * 1000)
    air = "farm=north,probe=air,rack=R\\ 1,room=Würz\\=raum\\,\\ hinten"
    assert lines(room) == [
        f"reading,{air},shelf=1,site=Quarry\\ Lane temperature_c=22.0 {at_ms + 1000}",
        "reading,bag=ÄÖ\\ 2,farm=north,probe=p-ÄÖ\\ 2,rack=R1,room=Würz\\=raum\\,\\ hinten,shelf=2,"
        f"site=Quarry\\ Lane,strain=GO-12 temperature_c=23.25 {at_ms + 2000}",
        f"reading,{air},shelf=1,site=Quarry\\ Lane humidity=88.0 {at_ms + 3000}",
        "reading,farm=north,probe=new,room=Würz\\=raum\\,\\ hinten,site=Quarry\\ Lane"
        f" temperature_c=5.0 {at_ms + 4000}",
    ]


def test_a_bag_that_moves_takes_its_later_readings_along_and_no_earlier_ones(
    room: MirroredRoom,
) -> None:
    """Also when the copy is made long after: else a point sent again would be another one."""
    room.read("p-GO12-001", 20.0)
    room.move("GO12-001", "R7")
    room.read("p-GO12-001", 21.0)
    room.move("GO12-001", "R8")
    assert ["rack=R1" in one for one in lines(room)] == [True, False]
    assert "rack=R7" in lines(room)[1]


def test_a_doubted_reading_stands_under_a_name_of_its_own_and_a_late_one_does_not(
    room: MirroredRoom,
) -> None:
    room.read("air", 85.0, Flag.POWER_ON)
    room.read("air", 21.0, Flag.LATE)
    doubted, late = lines(room)
    assert " temperature_doubted_c=85.5 " in doubted
    assert " temperature_c=21.5 " in late


def test_a_time_in_doubt_gives_way_to_when_it_came(room: MirroredRoom) -> None:
    room.read("air", 21.0, Flag.TIME_UNKNOWN, measured_s=None)
    room.read("air", 21.0, Flag.FUTURE, measured_s=START_S + 9e6)
    assert [int(one.split()[-1]) for one in lines(room)] == [
        round(START_S * 1000) + 1000,
        round(START_S * 1000) + 2000,
    ]


def test_a_hand_reading_has_its_bag_and_no_probe(room: MirroredRoom) -> None:
    room.read("", 23.0, hand_bag="GO12-003")
    (one,) = lines(room)
    assert "bag=GO12-003," in one and "probe=" not in one and "temperature_c=23.0" in one


def test_what_an_unset_clock_stamped_waits_until_it_is_set(room: MirroredRoom) -> None:
    room.read("air", 21.0, synced=False)
    room.read("air", 22.0)
    assert len(lines(room)) == 1
    room.step_clock(7200.0)
    room.read("air", 23.0)
    at_ms = round(START_S * 1000)
    assert [int(one.split()[-1]) - at_ms for one in lines(room)] == [2000, 7_201_000, 3000]


def test_estimates_and_alarms_are_numbers_of_their_bag(room: MirroredRoom) -> None:
    room.fill(2)
    end_s = room.close(hourly=True, raised="GO12-001")
    found = [one for one in lines(room) if not one.startswith("reading")]
    estimate = next(one for one in found if one.startswith("estimate,bag=GO12-001"))
    assert "rack=R1" in estimate and "strain=GO-12" in estimate
    fields = dict(one.split("=") for one in estimate.split(" ")[-2].split(","))
    assert fields["warmth_k"] == "3.0" and fields["excess_k"] == "0.25"
    assert fields["evidence_hot"] == "1.5" and fields["peers"] == "2.0"
    raised, acknowledged = [one for one in found if one.startswith("alarm")]
    assert raised.endswith(f" raised=1.0,standing=1.0,urgency=1.0 {round(end_s * 1000)}")
    assert " acknowledged=1.0,standing=1.0" in acknowledged
    assert raised.split(" raised")[0] == acknowledged.split(" acknowledged")[0]  # one series


@pytest.mark.parametrize("seed", range(25))
def test_the_points_are_the_same_whether_copied_as_it_happens_or_all_at_once(
    tmp_path: Path, seed: int
) -> None:
    """In steps while the log grows, each begun anew from a place that was saved, as after a kill.

    A stride may be taken twice, then to the same point; none is missing and none is another.
    """
    draw = random.Random(seed)
    room = MirroredRoom(tmp_path)
    seen: Counter[str] = Counter()
    place = Place()
    for _ in range(40):
        room.drawn(draw)
        if draw.random() < 0.6:
            strides = walked(room, place)
            kept = draw.randrange(len(strides) + 1)
            for one in strides[:kept]:
                seen[one.line] += 1
                place = one.place
    seen.update(one.line for one in walked(room, place))
    whole = {one.line for one in walked(room)}
    room.store.close()
    assert seen.keys() == whole
    assert len(whole) > 20


def test_a_stretch_walked_again_gives_the_points_it_gave(room: MirroredRoom) -> None:
    """What `--refill` sends: whole frames, with the book as it stood then."""
    room.day(4, 90)
    ends = [row.body.end_s for row in room.store.iter_log() if row.kind == "frame"]  # type: ignore[union-attr]
    from_s, to_s = ends[2], ends[6]
    points = Points(SITE, ROOM, {"farm": "north"})
    again = Walk(room.store, points, mirrored.place_at(room.store, from_s)).until(to_s)
    found = {one.line for one in again if one.line}
    assert found and found <= set(lines(room))
    first = room.store.frame_closed_at(from_s).last_reading_id
    last = room.store.frame_closed_at(to_s).last_reading_id
    assert sum(one.startswith("reading") for one in found) >= (last - first) // 2


def test_lines_hold_what_a_protocol_can_hold() -> None:
    """Line protocol (InfluxData, v2 reference): commas, equals signs and spaces are escaped."""
    assert tag("a b,c=d") == "a\\ b\\,c\\=d"
    assert tag(" ends\\ in\nspace ") == "ends/\\ in\\ space"
    assert line("m", {"x": "", "b": "1", "a": " "}, {"f": 1}, 1.0005) == "m,b=1 f=1.0 1000"
    assert line("m", {}, {"f": None, "g": float("nan"), "h": float("inf")}, 1.0) == ""
    assert line("m", {}, {"f": -0.5, "g": None}, 2.0) == "m f=-0.5 2000"
