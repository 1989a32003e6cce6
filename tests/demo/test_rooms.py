"""Invented rooms as they run and as they are written."""

from __future__ import annotations

import ast
import csv
import gzip
import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import demo
from demo.faults import POWER_ON_C, ProbeFault, RoomFault
from demo.folder import truth, write_folder
from demo.kinds import NAMES, any_kind, draw_room
from demo.live import LiveRoom, ProbeReading
from demo.rooms import (
    DAY_S,
    FAMILIES,
    FIRST,
    FIRST_WALKED,
    HOUR_S,
    SECOND,
    START_S,
    Room,
    make_room,
)

SMALL = replace(FIRST, bags_per_cohort=3)
PHYSICS_FILES = ("physics", "house", "faults", "rooms", "live", "folder")


def quiet(room: Room) -> Room:
    """The same room with whole probes and a whole heater."""
    return replace(room, probe_faults=(), room_faults=())


def said_by(readings: list[ProbeReading], probe: str) -> dict[float, float]:
    return {r.time_s: r.value for r in readings if r.probe == probe and r.quantity == "temperature"}


def test_the_invented_room_knows_nothing_of_the_monitor() -> None:
    """Else it would prove the monitor's equations by themselves."""
    folder = Path(demo.__file__).parent
    for name in PHYSICS_FILES:
        for node in ast.walk(ast.parse((folder / f"{name}.py").read_text(encoding="utf-8"))):
            modules = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            modules += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not [module for module in modules if module.split(".")[0] == "monitor"]


def test_a_seed_gives_the_same_readings_in_one_go_and_in_many() -> None:
    room = make_room(SMALL, 5)
    whole = LiveRoom(room).advance(START_S + DAY_S)
    piecewise = LiveRoom(room)
    parts = [piecewise.advance(START_S + share * DAY_S) for share in (0.1, 0.11, 0.7, 1.0)]
    assert [reading for part in parts for reading in part] == whole
    assert LiveRoom(make_room(SMALL, 6)).advance(START_S + HOUR_S) != whole[: len(whole) // 24]


@pytest.mark.parametrize("name", NAMES)
def test_every_family_draws_rooms_with_all_kinds_of_bag(name: str) -> None:
    kinds = [kind for seed in range(12) for kind in draw_room(name, seed).kinds]
    share = {kind: kinds.count(kind) / len(kinds) for kind in ("contaminated", "stalled")}
    assert 0.03 < share["contaminated"] < 0.20 and 0.0 < share["stalled"] < 0.05


def test_rooms_of_any_kind_differ_in_kind_and_are_the_same_bags_by_probes_and_on_walks() -> None:
    specs = [any_kind(seed, hand_walks=False) for seed in range(12)]
    for name in ("mass_kg", "heat", "slot_sd_k", "timing_sd_h"):
        assert len({getattr(spec, name) for spec in specs}) == 12
    assert {spec.probes.resolution_k for spec in specs} == {0.0625, 0.1, 0.25, 0.5}
    by_probes, walked = draw_room("anykind", 3), draw_room("anykindwalk", 3)
    assert replace(walked.spec, hand_walks=False) == by_probes.spec
    assert walked.kinds == by_probes.kinds and walked.session_s == by_probes.session_s
    assert (walked.bags.mass_kg == by_probes.bags.mass_kg).all()


def test_air_follows_the_set_back_and_is_warmer_on_higher_shelves() -> None:
    room = quiet(make_room(SMALL, 1))
    readings = LiveRoom(room, keep_truth=False).advance(START_S + 2 * DAY_S)
    low, high = said_by(readings, "air0"), said_by(readings, "air2")
    step_k = room.house.shelf_step_k
    assert np.mean([high[t] - low[t] for t in low]) == pytest.approx(4 * step_k, abs=0.05)
    night = [v for t, v in low.items() if 1 <= t % DAY_S / HOUR_S < 5]
    day = [v for t, v in low.items() if 9 <= t % DAY_S / HOUR_S < 21]
    assert np.mean(day) - np.mean(night) == pytest.approx(room.house.set_back_k, abs=0.3)


def test_probe_faults_do_what_their_names_say() -> None:
    from_s = START_S + 6 * HOUR_S
    faults = (
        ProbeFault("stuck", 0, from_s),
        ProbeFault("silent", 1, from_s, 6 * HOUR_S),
        ProbeFault("fell", 2, from_s),
        ProbeFault("blip", 3, from_s),
    )
    room = replace(quiet(make_room(SMALL, 2)), probe_faults=faults)
    readings = LiveRoom(room, keep_truth=False).advance(START_S + DAY_S)
    after = {p: {t: v for t, v in said_by(readings, p).items() if t >= from_s} for p in
             ("p000", "p001", "p002", "p003")}  # fmt: skip
    assert len(set(after["p000"].values())) == 1
    assert min(after["p001"]) >= from_s + 6 * HOUR_S
    assert list(after["p003"].values()).count(POWER_ON_C) == 1
    before = [v for t, v in said_by(readings, "p002").items() if t < from_s]
    assert np.std(np.diff(list(after["p002"].values()))) > 2 * np.std(np.diff(before))


def test_a_power_cut_silences_everything_and_cools_the_room() -> None:
    cut = RoomFault("power cut", START_S + 10 * HOUR_S, 5 * HOUR_S)
    room = replace(quiet(make_room(SMALL, 3)), room_faults=(cut,))
    readings = LiveRoom(room, keep_truth=False).advance(START_S + DAY_S)
    assert not [r for r in readings if cut.holds(r.time_s)]
    air = said_by(readings, "air1")
    assert air[cut.from_s + cut.for_s] < air[cut.from_s - 600.0] - 4.0


def test_a_stuck_heater_heats_the_air_and_then_lets_go() -> None:
    stuck = RoomFault("heater stuck", START_S + 10 * HOUR_S, 8 * HOUR_S)
    room = replace(quiet(make_room(SMALL, 3)), room_faults=(stuck,))
    air = said_by(LiveRoom(room, keep_truth=False).advance(START_S + 2 * DAY_S), "air1")
    assert max(air.values()) > room.house.setpoint_c + 4.0
    assert air[START_S + 30 * HOUR_S] < room.house.setpoint_c + 1.5


def test_half_a_degree_is_told_by_a_twin_without_the_added_heat() -> None:
    spec = replace(SMALL, trouble=replace(SMALL.trouble, contaminated=0.4))
    room = make_room(spec, 4)
    live = LiveRoom(room)
    live.advance(START_S + 8 * DAY_S)
    bag, half_s = min(live.half_degree_s.items(), key=lambda item: item[1])
    twin = room.count + room.hot.index(bag)
    again = LiveRoom(room, keep_truth=False)
    for at_s, reached in ((half_s - 60.0, False), (half_s, True)):
        again.advance(at_s)
        more_k = again.bodies.surface_c[bag] - again.bodies.surface_c[twin]
        assert bool(more_k >= 0.5) is reached
    said = truth(live)
    assert all(said[f"B{bag:03d}"]["half_degree"] for bag in live.half_degree_s)


def test_walks_go_up_the_shelves_twice_a_day_and_carry_no_bag_probes() -> None:
    live = LiveRoom(quiet(make_room(replace(FIRST_WALKED, bags_per_cohort=3), 1)))
    readings = live.advance(START_S + 4 * DAY_S)
    assert {r.probe for r in readings} == {"air0", "air1", "air2", "rh0"}
    hours = {int((h.time_s - START_S) % DAY_S // HOUR_S) for h in live.walk}
    assert hours == {8, 20}
    last = [h for h in live.walk if h.time_s >= START_S + 3 * DAY_S + 20 * HOUR_S]
    shelves = [live.room.shelf[int(h.bag[1:])] for h in last]
    assert all(lower <= higher for lower, higher in pairwise(shelves)) and len(last) == 12


def test_coarse_probes_of_the_second_family_step_by_half_a_degree() -> None:
    room = quiet(make_room(replace(SECOND, bags_per_cohort=3), 1))
    values = said_by(LiveRoom(room, keep_truth=False).advance(START_S + DAY_S), "p004").values()
    assert len(values) > 100 and all((2 * value).is_integer() for value in values)


def test_a_written_folder_has_the_files_and_columns_of_the_format(tmp_path: Path) -> None:
    room = make_room(replace(FAMILIES["handled"], bags_per_cohort=3, days=4.0), 2)
    write_folder(room, tmp_path)
    with gzip.open(tmp_path / "readings.csv.gz", "rt", encoding="utf-8", newline="") as file:
        assert next(csv.reader(file)) == ["time", "probe", "quantity", "value", "unit"]
    with (tmp_path / "bags.csv").open(encoding="utf-8", newline="") as file:
        bags = list(csv.DictReader(file))
    assert len(bags) == 12 and {row["rack"] for row in bags} == {"R1"}
    said = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert set(said) == {row["bag"] for row in bags} | {"heater_stuck_from"}
    with (tmp_path / "book.csv").open(encoding="utf-8", newline="") as file:
        events = {row["event"] for row in csv.DictReader(file)}
    assert events == {"moved", "shaken"}
    with gzip.open(tmp_path / "truth_hourly.csv.gz", "rt", encoding="utf-8", newline="") as file:
        assert len(list(csv.DictReader(file))) == 12 * 4 * 24
