"""Small hand-made cases for what counts as found, false, early and named."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.bench.folders import read_calls
from tests.bench.scoring import HOUR_S, BagTruth, Call, Interval, Score, score_room

HALF_S = 100 * HOUR_S
HOT = BagTruth("B1", "contaminated", half_degree_s=HALF_S)
GOOD = BagTruth("B2", "healthy")


def hot(bag: str, at_h: float) -> Call:
    return Call(at_h * HOUR_S, bag, "hot")


def test_a_bag_is_found_when_called_after_its_half_degree() -> None:
    score = score_room([HOT], [hot("B1", 120)])
    assert score.delays_h == [20.0] and score.with_heat == 1 and not score.missed


def test_a_bag_is_found_up_to_twelve_hours_early_with_a_negative_delay() -> None:
    assert score_room([HOT], [hot("B1", 88)]).delays_h == [-12.0]


def test_a_call_more_than_twelve_hours_early_is_no_find() -> None:
    score = score_room([HOT], [hot("B1", 87.9)])
    assert score.delays_h == [] and score.missed == ["B1"] and score.called_early == 1


def test_a_second_call_finds_a_bag_that_was_called_too_early() -> None:
    score = score_room([HOT], [hot("B1", 50), hot("B1", 130)])
    assert score.delays_h == [30.0] and score.called_early == 1


def test_a_healthy_bag_called_twice_is_one_false_call_in_its_run() -> None:
    score = score_room([GOOD, BagTruth("B3", "healthy")], [hot("B2", 5), hot("B2", 90)])
    assert score.false == 1 and score.false_per_100 == 50.0


def test_a_stalled_bag_called_hot_is_neither_found_nor_false() -> None:
    stalled = BagTruth("B4", "stalled", stalled_s=HALF_S)
    score = score_room([stalled], [hot("B4", 110)])
    assert (score.false, score.with_heat, score.healthy, score.stalls_found) == (0, 0, 0, 0)


@pytest.mark.parametrize(("at_h", "found"), [(99.0, 0), (148.0, 1), (148.1, 0)])
def test_a_stall_counts_as_found_within_two_days_of_its_start(at_h: float, found: int) -> None:
    stalled = BagTruth("B4", "stalled", stalled_s=HALF_S)
    score = score_room([stalled], [Call(at_h * HOUR_S, "B4", "stalled")])
    assert score.stalls_found == found and score.stalled == 1


def test_a_fallen_probe_is_named_in_time_and_its_bag_not_blamed() -> None:
    fallen = BagTruth("B5", "healthy", "p5", probe_fault="fell", probe_fault_s=HALF_S)
    calls = [Call(HALF_S + 5 * HOUR_S, "p5", "probe")]
    score = score_room([fallen], calls)
    assert (score.probe_faults, score.probes_named, score.probes_called_bag) == (1, 1, 0)


def test_a_fallen_probe_that_makes_its_bag_stalled_is_counted_as_blame() -> None:
    fallen = BagTruth("B5", "healthy", "p5", probe_fault="fell", probe_fault_s=HALF_S)
    score = score_room([fallen], [Call(HALF_S + HOUR_S, "B5", "stalled")])
    assert score.probes_called_bag == 1 and score.stall_false == 1 and score.probes_named == 0


def test_scores_of_rooms_add_up() -> None:
    total = Score()
    total += score_room([HOT, GOOD], [hot("B1", 110)])
    total += score_room([HOT, GOOD], [hot("B2", 10)])
    assert (total.with_heat, total.found_percent, total.false_per_100) == (2, 50.0, 50.0)
    assert total.median_delay_h == 10.0


def test_a_score_of_nothing_has_no_percentages() -> None:
    empty = Score()
    assert all(math.isnan(value) for value in (empty.found_percent, empty.median_delay_h))


def test_intervals_tell_their_error_and_how_often_they_hold() -> None:
    heat = Interval()
    heat.add(1.1, 0.9, 1.3, 1.0, relative=True)
    heat.add(0.5, 0.4, 0.6, 1.0, relative=True)
    assert heat.coverage_percent == 50.0
    assert heat.median_error == pytest.approx(0.3)


def test_calls_are_read_from_alarms_and_morning_messages_left_out(tmp_path: Path) -> None:
    path = tmp_path / "alarms.csv"
    path.write_text(
        "time,kind,urgency,transition,bag,probe\n"
        "2026-03-05T00:00:00Z,hot bag,later,raised,B1,\n"
        "2026-03-05T01:00:00Z,hot bag,today,urgency changed,B1,\n"
        "2026-03-05T02:00:00Z,hot bag,today,returned to normal,B1,\n"
        "2026-03-05T03:00:00Z,probe,later,raised,B2,p2\n"
        "2026-03-05T04:00:00Z,room,now,raised,,\n",
        encoding="utf-8",
    )
    calls = read_calls(path)
    assert [(call.subject, call.what) for call in calls] == [("B1", "hot"), ("p2", "probe")]
    assert calls[0].at_s == calls[1].at_s - 2 * HOUR_S
