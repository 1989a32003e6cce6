"""Core limits are held against what the heat did, by the live rules and where outcomes allow."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from demo.folder import write_folder
from demo.rooms import FIRST, make_room
from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.cli.tune import finish
from monitor.judge.strain import CoreLimit, Strain
from monitor.recount import of_folder
from monitor.replay import replay_folder
from monitor.review.account import Account, FrameAccount
from monitor.review.heat_scan import cores, first_heated
from monitor.review.outcomes import endings
from monitor.review.predict import predict
from monitor.review.reach import Reach, near_c
from monitor.review.tune import Room, tune
from monitor.review.tune_heat import HeatTuning, candidates, tune_heat
from monitor.review.tune_heat_words import file_limits, heat_lines, lasting
from monitor.review.tune_score import Costs
from monitor.settings.edit import apply, snapshot
from monitor.settings.load import load_strains
from monitor.values import AlarmKind, BookEntry
from tests.tune import seasons
from tests.tune.heats import (
    DAY_S,
    FRAME_S,
    HOUR_S,
    LIMITS,
    START_S,
    TRUE_C,
    AnyStrain,
    bag,
    frame,
    season,
)
from tests.tune.shown import promised, shown

COSTS = Costs(30.0, 2.0, 4.0)
STRAIN = Strain("GO-12", known=True, core_limits=LIMITS)


@pytest.fixture(scope="module")
def hot_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four days of six bags in a room far too warm, nothing else amiss."""
    calm = replace(
        FIRST.trouble, contaminated=0.0, stalled=0.0, fell=0, stuck=0, silent=0,
        run_chance=0.0, lot_chance=0.0, heater_stuck_chance=0.0,
    )  # fmt: skip
    spec = replace(
        FIRST, lines=FIRST.lines[1:2], bags_per_cohort=5, days=3.5, session_days=(0.25,),
        setpoint_c=(29.5, 30.0), heat=1.3, trouble=calm,
    )  # fmt: skip
    path = tmp_path_factory.mktemp("hot-room")
    write_folder(make_room(spec, 3), path)
    return path


def test_overheating_is_predicted_as_a_replay_under_the_applied_limits_tells_it(
    hot_folder: Path, tmp_path: Path
) -> None:
    """To the frame and the urgency, from evidence that was kept under other limits."""
    account = of_folder(hot_folder, None)
    (tmp_path / "strains.yaml").write_text("strains: {AM-3: {}}\n", encoding="utf-8")
    own = (CoreLimit(31.0, 36 * HOUR_S), CoreLimit(34.5, 12 * HOUR_S), CoreLimit(37.0, HOUR_S))
    apply(snapshot(tmp_path), "AM-3", {}, file_limits(own))
    replay_folder(hot_folder, tmp_path / "out", tmp_path)
    found = predict(account, load_strains(tmp_path).lookup)
    assert shown(tmp_path / "out") == promised(found)
    heat = [one for one in found.events if one.kind is AlarmKind.OVERHEATING]
    assert len(heat) > 5 and len(found.heated_s) >= 3
    assert found.told != predict(account, lambda name: Strain(name=name)).told


def drawn(seed: int, bags: int, days: float = 6.0) -> Account:
    """Cores that wander between 24 and 42 °C, with gaps, and bags that leave and come back."""
    draw = np.random.default_rng(seed)
    frames = int(days * DAY_S / FRAME_S)
    time = np.arange(frames)
    names = [f"B{number}" for number in range(bags)]
    peak = {name: int(draw.integers(150, 700)) for name in names}
    course = {
        name: 27.0
        + draw.uniform(4.0, 14.0) * np.exp(-(((time - peak[name]) / 150.0) ** 2))
        + 1.5 * np.sin(time / draw.uniform(15.0, 40.0))
        for name in names
    }
    away = {name: peak[name] + int(draw.integers(-90, 60)) for name in names[: bags // 2]}
    reach, found = Reach(), []
    for number in range(frames):
        end_s = START_S + number * FRAME_S
        back = [name for name, at in away.items() if number == at + 10]
        gone = tuple(name for name, at in away.items() if number == at)
        for name in gone:
            reach.forget(name)
        in_room = [n for n in names if not away.get(n, frames) <= number < away.get(n, frames) + 10]
        cores_c = {n: float(course[n][number]) for n in in_room if draw.random() > 0.02}
        if 300 <= number < 309:
            cores_c = {}
        kept = reach.step(end_s, cores_c, lambda name: near_c(STRAIN))
        come = names if number == 0 else back
        found.append(frame(end_s, kept, {n: bag(n) for n in come}, gone))
    return Account("room", tuple(found))


def test_the_scan_of_many_limits_gives_what_the_live_rule_gives_for_each() -> None:
    """Bag by bag and to the frame: moves of the usual limits, and limits that are borne for so
    long that what a bag had been through before decides."""
    draw = np.random.default_rng(2)
    account = drawn(5, 10)
    kept = cores([account], "GO-12", AnyStrain(LIMITS))
    moves = candidates(LIMITS)
    tried = [moves[index].limits for index in draw.choice(len(moves), 4, replace=False)]
    tried += [
        (CoreLimit(core_c, lasts_h * HOUR_S), CoreLimit(36.5, 26.0 * HOUR_S))
        for core_c, lasts_h in ((29.5, 44), (30.5, 36), (32.0, 32), (33.5, 28))
    ]
    called = 0
    for limits in tried:
        top = [limit is limits[-1] for limit in limits]
        found_s = first_heated(kept, limits, top)[0].min(axis=1)
        live = predict(account, AnyStrain(limits).__getitem__).heated_s
        assert {name: at for (_, name), at in zip(kept.bags, found_s, strict=True)
                if np.isfinite(at)} == live, limits  # fmt: skip
        called += len(live)
    assert called > 30


def test_cores_out_of_reach_are_not_kept_and_nothing_is_lost_by_it() -> None:
    """The same calls as from every core; far fewer of them."""
    draw = np.random.default_rng(1)
    hours = np.arange(0.0, 240.0, FRAME_S / HOUR_S)
    course = 24.0 + 9.0 * np.exp(-(((hours - 70.0) / 18.0) ** 2)) + draw.normal(0, 0.05, len(hours))
    frames, whole = [], []
    reach = Reach()
    for number, core_c in enumerate(course.tolist()):
        end_s = START_S + number * FRAME_S
        bags = {"B1": bag("B1")} if number == 0 else {}
        kept = reach.step(end_s, {"B1": core_c}, lambda name: near_c(STRAIN))
        frames.append(frame(end_s, kept, bags))
        whole.append(frame(end_s, {"B1": core_c}, bags))
    assert sum(len(one.core_c) for one in frames) < 0.6 * len(whole)
    strict = (CoreLimit(30.0, 12 * HOUR_S), CoreLimit(36.0, 24 * HOUR_S), LIMITS[2])
    for limits in (LIMITS, strict):
        one, other = (
            predict(Account("room", tuple(part)), AnyStrain(limits).__getitem__)
            for part in (frames, whole)
        )
        assert one.told == other.told
    assert one.heated_s


def test_what_is_in_reach_goes_on_after_a_recount() -> None:
    account = drawn(8, 4)
    half = len(account.frames) // 2
    reach = Reach.after(account.frames[:half], AnyStrain(LIMITS).__getitem__)
    for one in account.frames[half:]:
        for name in one.gone:
            reach.forget(name)
        kept = reach.step(one.end_s, one.core_c, lambda name: near_c(STRAIN))
        assert kept == dict(one.core_c)
    assert any(one.core_c for one in account.frames[half:])


LOW = (CoreLimit(31.0, 24 * HOUR_S), CoreLimit(39.0, 12 * HOUR_S), LIMITS[2])


def tuned(rooms: list[Room], limits: tuple[CoreLimit, ...] = LOW) -> HeatTuning:
    return tune_heat(rooms, "GO-12", AnyStrain(limits), COSTS)


@pytest.fixture(scope="module")
def found() -> HeatTuning:
    return tuned(season(3, 10, 8, LOW)[0])


def test_a_limit_that_calls_many_for_nothing_moves_towards_the_truth(found: HeatTuning) -> None:
    """31 °C for a day calls what came through; 34 °C for a day is what harms."""
    assert found.proposed is not None and found.proposed.thresholds.moved is not None
    index, shift_k, _ = found.proposed.thresholds.moved
    assert index == 0
    assert 31.0 + shift_k == pytest.approx(TRUE_C, abs=1.5) and shift_k > 0
    assert found.present.false >= 10
    assert found.proposed.false < 0.6 * found.present.false
    assert found.proposed.caught == found.present.caught == found.cooked


def test_runs_left_out_confirm_the_limit(found: HeatTuning) -> None:
    assert found.left_out is not None and found.left_out.cost is not None
    assert found.present.cost is not None
    assert found.left_out.cost < found.present.cost


def test_bags_that_change_sides_show_their_cores(found: HeatTuning) -> None:
    assert found.proposed is not None
    assert len(found.sides) == found.present.false - found.proposed.false
    assert all(28.0 < max(one.course) < TRUE_C + 1.0 for one in found.sides)
    assert all(one.present_s and not one.proposed_s for one in found.sides)


def test_apply_writes_the_limit_and_undo_takes_it_back(
    found: HeatTuning, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And in the file nothing else changes."""
    text = (
        "strains:\n  GO-12:\n    core_limits:   # ours\n"
        "      - {core: 31 C, duration: 1 d}   # too strict?\n"
        "      - {core: 39 C, duration: 12 h}\n      - {core: 40 C, duration: 30 min}\n"
    )
    path = tmp_path / "strains.yaml"
    path.write_text(text, encoding="utf-8")
    calm = seasons.season(1, seasons.Plan(runs=1, bags=4, days=6.0))
    bags = calm.accounts[0].frames[0].bags
    rooms = [Room(calm.accounts[0], endings(bags, calm.books[0], START_S, 0.0), {})]
    beside = tune(rooms, "GO-12", AnyStrain(LOW), None)
    assert finish(beside, found, None, quiet=True) == Exit.FOUND
    assert path.read_text(encoding="utf-8") == text
    assert finish(beside, found, snapshot(tmp_path), quiet=False) == Exit.DONE
    assert found.proposed is not None
    new = file_limits(found.proposed.thresholds.limits)[0]
    wanted = text.replace("{core: 31 C, duration: 1 d}", f"{{core: {new[0]}, duration: {new[1]}}}")
    assert path.read_text(encoding="utf-8") == wanted != text
    assert f"GO-12.core_limits: {new[0]} {new[1]}, 39 C 12 h" in capsys.readouterr().out
    assert main(["tune", "--undo", "--config", str(tmp_path)]) == Exit.DONE
    assert path.read_text(encoding="utf-8") == text
    assert "-> 31 C 1 d, 39 C 12 h, 40 C 30 min" in capsys.readouterr().out


def test_a_limit_that_misses_what_cooks_is_lowered() -> None:
    """38 °C for a day calls nothing in time; 34 is what harms."""
    high = (CoreLimit(36.5, 24 * HOUR_S), CoreLimit(40.0, HOUR_S))
    one = tuned(season(3, 12, 8, high)[0], high)
    assert one.present.missed > 4
    assert one.proposed is not None and one.proposed.thresholds.moved is not None
    assert one.proposed.thresholds.moved[1] < 0 or one.proposed.thresholds.moved[2] < 1
    assert one.proposed.caught > one.present.caught


def test_without_cooked_bags_nothing_is_proposed() -> None:
    """Healthy bags alone don't say what would have harmed them."""
    rooms, _ = season(3, 10, 8, LOW)
    fine = [
        replace(room, endings={n: e for n, e in room.endings.items() if not e.cooked})
        for room in rooms
    ]
    one = tuned(fine)
    assert one.choice is not None and one.proposed is not None
    assert one.choice.why_little.startswith("too little to tell: 0 cooked bags in 0 runs")
    assert one.proposed.thresholds.limits == LOW
    assert any("the present limits stay" in line for line in heat_lines(one, "C"))


def test_cooked_bags_without_healthy_ones_as_warm_say_nothing_of_where_the_limit_lies() -> None:
    """Where only cool bags came through, any limit between would do."""
    rooms, tops = season(3, 10, 8, LOW)
    bar_c = min(tops[n] for room in rooms for n, e in room.endings.items() if e.cooked) - 1.0
    cool = [
        replace(r, endings={n: e for n, e in r.endings.items() if e.cooked or tops[n] < bar_c})
        for r in rooms
    ]
    one = tuned(cool)
    assert one.as_warm == 0 and one.present.healthy >= 10
    assert one.choice is not None
    assert one.choice.why_little.endswith("0 healthy bags that went as warm")
    assert one.proposed is not None and one.proposed.thresholds.limits == LOW


def test_a_healthy_bag_that_was_told_of_counts_only_where_it_bore_the_limit() -> None:
    """Told and cooled in time looks the same as a needless call: it counts neither way."""
    rooms, _ = season(4, 8, 6, LOW)
    called = [predict(room.account, AnyStrain(LOW).__getitem__).heated_s for room in rooms]
    untold = tuned(rooms)
    told = tuned([replace(r, heated_s=c) for r, c in zip(rooms, called, strict=True)])
    assert untold.saved == 0
    assert told.saved > 0
    assert told.saved + told.present.false == untold.present.false


def test_a_room_that_never_was_warm_says_that_nothing_speaks_for_or_against_its_limits() -> None:
    account = Account("room", (FrameAccount(START_S, bags={"B1": bag("B1")}),))
    ends = endings(
        {"B1": bag("B1")}, [BookEntry(START_S + DAY_S, "B1", "pulled", "surely heat")],
        START_S + 2 * DAY_S, DAY_S,
    )  # fmt: skip
    one = tuned([Room(account, ends, {})])
    lines = heat_lines(one, "F")
    assert lines[0].startswith("no core of a bag with a known end came within 7.2 °F of a limit")
    assert lines[1].startswith("B1 is booked as cooked")


@pytest.mark.parametrize(
    ("length_s", "text"),
    [(345600.0, "4 d"), (86400.0, "1 d"), (43200.0, "12 h"), (450.0, "7.5 min")],
)
def test_a_duration_is_written_as_settings_take_it(length_s: float, text: str) -> None:
    assert lasting(length_s) == text
