"""What the judge takes back, leaves out or learns: the rows it keeps, and what they lead to."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.judge.evidence import Judge
from monitor.judge.history import BY_PROBE
from monitor.values import BookEntry, Frame, HandReading, Reason
from tests.judge.test_evidence import HOUR_S, START_S, book, cohort, frames, ramp, run


def without(frame: Frame, bag: str) -> Frame:
    """The frame as the road gives it while that bag's probe is not trusted."""
    return replace(frame, surface_c={n: m for n, m in frame.surface_c.items() if n != bag})


def stepped(judge: Judge, frame: Frame, bags: list[str], misled_s: dict[str, float]) -> bool:
    """Take a frame; whether Q02 is over its bar at its end."""
    plan, air = book(bags), dict.fromkeys(bags, 22.0)
    verdict = judge.step(frame, plan, air, air, misled_s)["Q02"][1]
    return verdict.hot >= verdict.hot_needed


def rows_read(judge: Judge, bag: str) -> list[float]:
    """The ends of the rows [h since the cohort began] in which the judge has a value of a bag."""
    kept = judge.state()["history"]
    column = kept["bags"].index(bag)
    row_s = 3.0 * HOUR_S
    return [
        ((number + 1) * row_s - START_S) / HOUR_S
        for number, row in zip(kept["bins"], kept["excess"], strict=True)
        if row[column] is not None
    ]


def test_a_call_that_leans_on_a_probe_goes_in_the_frame_that_names_it() -> None:
    bags = cohort(6, seed=14)
    bags["Q02"] = replace(bags["Q02"], more=ramp(60.0, 3.0))
    names, judge, called = list(bags), Judge(), []
    for hour, frame in enumerate(frames(bags, 108)):
        told = frame if hour < 100 else without(frame, "Q02")
        misled_s = {} if hour < 100 else {"Q02": START_S + 58.0 * HOUR_S}
        called.append(stepped(judge, told, names, misled_s))
    assert called[99] and not any(called[100:])


@pytest.mark.parametrize("since_h", [60.0, 70.0])
def test_a_probe_is_not_believed_for_eight_hours_before_its_fault_and_before_that_it_is(
    since_h: float,
) -> None:
    bags = cohort(4, seed=15)
    names, judge = list(bags), Judge()
    for hour, frame in enumerate(frames(bags, 80)):
        told = frame if hour < 75 else without(frame, "Q02")
        stepped(judge, told, names, {} if hour < 75 else {"Q02": START_S + since_h * HOUR_S})
    last_h = rows_read(judge, "Q02")[-1]
    assert since_h - 8.0 - 3.0 < last_h <= since_h - 8.0
    assert rows_read(judge, "Q01")[-1] > 75.0


@pytest.mark.parametrize("seed", range(7, 12))
def test_a_probe_taped_on_anew_after_its_fault_may_read_otherwise_without_a_call(seed: int) -> None:
    """0.7 K warmer for good, twice what slots and probes differ by, is how it sits, not heat."""
    bags = cohort(seed=seed)
    bags["Q02"] = replace(bags["Q02"], more=lambda age_h: 0.7 if age_h > 100.0 else 0.0)
    names, judge, called = list(bags), Judge(), []
    for hour, frame in enumerate(frames(bags, 150)):
        off = 88 <= hour < 104
        told = without(frame, "Q02") if off else frame
        called.append(stepped(judge, told, names, {"Q02": START_S + 88.0 * HOUR_S} if off else {}))
    assert not any(called)


def test_what_was_read_before_a_bag_was_moved_is_no_part_of_that_row() -> None:
    bags = cohort(4, seed=16)
    begins_h = next(h for h in range(60, 63) if (START_S / HOUR_S + h) % 3 == 0)
    entry = BookEntry(START_S + (begins_h + 1.5) * HOUR_S, "Q02", "moved")
    judge = run(frames(bags, 80), book(list(bags)), (entry,)).judge
    moved, other = rows_read(judge, "Q02"), rows_read(judge, "Q01")
    # and the eight hours in which it follows its new air say nothing either
    assert [end_h for end_h in other if end_h not in moved] == [
        begins_h + 3,
        begins_h + 6,
        begins_h + 9,
    ]


@pytest.mark.parametrize("seed", [17, 18])
def test_probes_that_scatter_are_known_to_scatter_and_nobody_is_called_for_it(seed: int) -> None:
    """Five times the noise of other tests; who takes it for usual noise calls a sound bag."""
    bags = cohort(seed=seed)
    done = run(frames(bags, 140, noise_k=0.2), book(list(bags)))
    assert not [bag for bag in bags if done.called(bag) or done.called(bag, hot=False)]
    noise = done.judge.state()["noise"]
    assert noise["scale"] > 1.3 and noise["by_hand_k"] == 0.3


def test_the_first_hours_of_a_probe_say_nothing_and_those_of_a_hand_do() -> None:
    """For five hours its lagged air means nothing; a hand reads rarely, none can be spared."""
    bags = cohort(4, seed=18)
    judge, read = Judge(), []
    for hour, frame in enumerate(frames(bags, 12)):
        surface = frame.surface_c["Q02"]
        by_hand = (HandReading("Q02", surface.mean, surface.last_s),) if hour < 8 else ()
        told = replace(frame, surface_c={"Q01": frame.surface_c["Q01"]}, hand=by_hand)
        stepped(judge, told, list(bags), {})
        read.append((frame.end_s - START_S) / HOUR_S)
    first_h = read[0]
    assert rows_read(judge, "Q02")[0] - first_h < 3.0
    assert 5.0 <= rows_read(judge, "Q01")[0] - first_h < 8.0


def test_a_bag_read_by_its_probe_and_by_hand_counts_as_read_by_its_probe() -> None:
    bags = cohort(4, seed=19)
    judge = Judge()
    for frame in frames(bags, 20):
        surface = frame.surface_c["Q02"]
        by_hand = (HandReading("Q02", surface.mean + 3.0, surface.last_s),)
        stepped(judge, replace(frame, hand=by_hand), list(bags), {})
    kept = judge.state()["history"]
    column = kept["bags"].index("Q02")
    assert {row[column] for row in kept["means"][3:]} == {BY_PROBE}
    assert max(row[column] for row in kept["excess"][3:]) < 2.0


@pytest.mark.parametrize(("event", "hours"), [("moved", 8), ("shaken", 96)])
def test_a_handled_bag_is_said_to_be_handled_for_its_time_and_no_longer(
    event: str, hours: int
) -> None:
    """Nothing new is called of it meanwhile (`judge.calls`)."""
    bags = cohort(4, seed=20)
    entry = BookEntry(START_S + 60.0 * HOUR_S, "Q02", event)
    done = run(frames(bags, 170), book(list(bags)), (entry,))
    said = [verdicts["Q02"][1].reason is Reason.HANDLED for verdicts in done.hours]
    assert [hour for hour, handled in enumerate(said) if handled] == list(range(60, 59 + hours))
