"""Whether a coarse probe swings as its bag or as the air: rooms stepped by hand."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Iterator, Sequence

from monitor.judge.fallen import FallenParams
from monitor.judge.probe_faults import ProbeFault
from monitor.judge.probe_rules import FaultParams
from monitor.judge.quality import Quality, QualityParams
from monitor.judge.swings import SwingParams, Swings
from monitor.values import Probe, Quantity, Reading, Reason
from tests.judge.coarse_room import BAGS, FELL_H, HOUR_S, Frame, Hours, never, room


def said_of(frames: Iterator[Frame], swings: Swings | None = None) -> dict[str, list[float]]:
    """By probe, the hours in which it was said to be off its bag."""
    swings, named = swings or Swings(SwingParams()), dict[str, list[float]]()
    for end_s, probes, *rest in frames:
        for probe, fell_s in zip(probes, swings.step(end_s, probes, *rest), strict=True):
            if fell_s is not None:
                named.setdefault(probe, []).append(end_s / HOUR_S)
    return named


def falls(hour: float) -> bool:
    return hour >= FELL_H


def test_a_coarse_probe_in_swinging_air_is_named_within_a_day_and_no_other() -> None:
    for seed in range(4):
        named = said_of(room(FELL_H + 36, off_bag=falls, seed=seed))
        assert set(named) == {"b0"}
        assert FELL_H < named["b0"][0] < FELL_H + 24


def test_since_when_it_is_off_is_told_to_within_hours_however_late() -> None:
    named_h, since_h = list[float](), list[float]()
    for seed in range(4):
        swings, told = Swings(SwingParams()), list[tuple[float, float]]()
        for end_s, probes, *rest in room(FELL_H + 36, off_bag=falls, seed=seed):
            fell_s = swings.step(end_s, probes, *rest)[0]
            told += [] if fell_s is None else [(end_s / HOUR_S, fell_s / HOUR_S)]
        assert len({since for _, since in told}) == 1, "once told it stays"
        named_h.append(told[0][0])
        since_h.append(told[0][1])
    assert all(abs(hour - FELL_H) < 9 for hour in since_h)
    assert max(named_h) > FELL_H + 12


def test_a_coarse_probe_on_a_bag_that_stalls_is_on_its_bag() -> None:
    """Its warmth goes with the bag's lag and its swings stay a bag's."""
    for seed in range(4):
        assert not said_of(room(FELL_H + 72, stalled=falls, seed=seed))


def test_a_lag_that_all_bags_share_is_no_fault() -> None:
    for lag_s in (1500.0, 3000.0, 20000.0):
        assert not said_of(room(96.0, lag_s=lag_s))


def test_a_fall_among_bags_of_another_lag_is_named_all_the_same() -> None:
    named = said_of(room(FELL_H + 36, lag_s=4500.0, off_bag=falls))
    assert set(named) == {"b0"}
    assert named["b0"][0] < FELL_H + 30


def test_air_that_rests_tells_nothing_and_takes_nothing_back() -> None:
    assert not said_of(room(FELL_H + 48, swing_k=0.02, off_bag=falls))
    swings = Swings(SwingParams())
    before = said_of(room(FELL_H + 36, off_bag=falls), swings)
    later_s = (FELL_H + 36) * HOUR_S
    calm = room(120.0, swing_k=0.02, off_bag=lambda hour: True)
    after = said_of(((end_s + later_s, *rest) for end_s, *rest in calm), swings)  # type: ignore[misc]
    assert before["b0"] and len(after["b0"]) == 120 * 6


def test_a_probe_taped_on_again_is_believed_again_within_two_days() -> None:
    named = said_of(room(FELL_H + 120, off_bag=lambda hour: FELL_H <= hour < FELL_H + 36))["b0"]
    assert FELL_H + 36 < named[-1] < FELL_H + 84
    assert len(named) == round((named[-1] - named[0]) * 6) + 1, "once off, once on again"


def test_a_sound_probe_that_comes_back_after_silence_is_not_said_to_have_fallen() -> None:
    """The air through its bag's lag isn't known anew from its own reading, which is far off."""
    for seed in range(4):
        frames = room(120.0, unheard=lambda hour: 40 <= hour < 65, first_k=5.0, seed=seed)
        assert not said_of(frames)


def test_too_few_mates_tell_nothing() -> None:
    frames = room(FELL_H + 48, off_bag=falls)
    few = ((end_s, *(part[:7] for part in rest)) for end_s, *rest in frames)
    assert not said_of(few)  # type: ignore[arg-type]


def test_a_probe_to_be_forgotten_begins_anew() -> None:
    swings = Swings(SwingParams())
    frames = list(room(FELL_H + 36, off_bag=falls))
    assert "b0" in said_of(iter(frames[:-1]), swings)
    swings.forget("b0")
    swings.forget("nobody")
    assert said_of(iter(frames[-1:]), swings) == {}


def faults_of(
    frames: Iterator[Frame], fault: FaultParams, handled: Hours = never
) -> Iterator[tuple[float, ProbeFault]]:
    """Each fault of each frame with the hour, of readings taken the whole way through quality;
    the first bag counts as handled where `handled(hour)`."""
    plan = {f"b{number}": Probe(f"b{number}", bag=f"B{number}", shelf=2) for number in range(BAGS)}
    checker = Quality(QualityParams(fault=fault), plan)
    for end_s, probes, values_c, airs_c, _ in frames:
        for probe, value_c in zip(probes, values_c, strict=True):
            for at_s in (end_s - 600.0, end_s - 300.0):
                checker.check(Reading(probe, Quantity.TEMPERATURE, value_c, at_s, at_s))
        if end_s % (12 * HOUR_S) == 0:
            saved = json.dumps(checker.state())
            checker = Quality(QualityParams(fault=fault), plan)
            checker.restore(json.loads(saved))
        just_handled = ["B0"] if handled(end_s / HOUR_S) else []
        for one in checker.close(end_s, dict(zip(probes, airs_c, strict=True)), just_handled):
            yield end_s / HOUR_S, one


DEAF_TO_FRAMES = FaultParams(fallen=FallenParams(named_at=1e9, felt_named_at=1e9))
DEAF_TO_SWINGS = FaultParams(swings=SwingParams(named_at=1e9))


def test_quality_names_it_by_its_swings_across_restarts() -> None:
    told = list(faults_of(room(FELL_H + 30, off_bag=falls), DEAF_TO_FRAMES))
    assert {(fault.probe, fault.reason) for _, fault in told} == {("b0", Reason.PROBE_FELL_OFF)}
    assert {fault.detail for _, fault in told} == {"has swung with the air as no bag does"}
    assert FELL_H < told[0][0] < FELL_H + 24
    assert abs(told[0][1].since_s / HOUR_S - FELL_H) < 9


def test_a_return_that_frames_show_is_not_held_up_by_swings() -> None:
    def last_h(fault: FaultParams) -> float:
        frames = room(
            FELL_H + 84,
            off_bag=lambda hour: FELL_H <= hour < FELL_H + 24,
            digit_k=0.0625,
            noise_k=0.045,
        )
        return max(hour for hour, _ in faults_of(frames, fault))

    assert FELL_H + 24 < last_h(DEAF_TO_SWINGS) < FELL_H + 60
    assert last_h(FaultParams()) == last_h(DEAF_TO_SWINGS)


def test_of_a_handled_bag_no_fall_is_told_yet_one_told_before_is_seen_to_be_over() -> None:
    """What is moved or shaken warms and cools as no bag does by itself."""

    def told_h(off_bag: Hours, handled: Hours) -> list[float]:
        frames = room(FELL_H + 60, off_bag=off_bag, digit_k=0.0625, noise_k=0.045)
        return [hour for hour, _ in faults_of(frames, FaultParams(), handled)]

    fallen = told_h(falls, never)
    assert FELL_H < fallen[0] < FELL_H + 6
    assert min(told_h(falls, lambda hour: FELL_H - 1 < hour < FELL_H + 8)) > FELL_H + 8
    taped_on = told_h(
        lambda hour: FELL_H <= hour < FELL_H + 12, lambda hour: FELL_H + 12 < hour < FELL_H + 50
    )
    assert fallen[0] == taped_on[0] and taped_on[-1] < FELL_H + 45


def test_what_was_saved_goes_on_exactly() -> None:
    frames = list(room(FELL_H + 36, off_bag=falls, unheard=lambda hour: 30 <= hour < 32))

    def rest(swings: Swings, part: Sequence[Frame]) -> list[list[float | None]]:
        return [swings.step(*frame) for frame in part]

    for cut in (1, 200, 380, len(frames) - 20):
        whole, resumed = Swings(SwingParams()), Swings(SwingParams())
        rest(whole, frames[:cut])
        resumed.restore(json.loads(json.dumps(whole.state())))
        assert rest(resumed, frames[cut:]) == rest(whole, frames[cut:])
        assert resumed.state() == whole.state()


def quiet_room(
    hours: float, onset_h: float, seed: int, rise_h: float = 5.0, warm_k: float = 1.9
) -> Iterator[Frame]:
    """Fine probes in air that knows only the day; bags warm slowly by `warm_k`, and the first
    by 2.5 K more about `onset_h`, by a logistic curve of `rise_h`."""
    draw, turn = random.Random(seed), 2 * math.pi / 24
    peaks = [(draw.gauss(warm_k, 0.13), draw.gauss(96.0, 5.0)) for _ in range(BAGS)]
    for frame in range(round(hours * 6)):
        hour = frame / 6
        lagged_k = 0.28 * math.sin(turn * hour - math.atan(turn * 2.5)) / math.hypot(1, turn * 2.5)
        values_c = [
            22.0 + lagged_k + peak_k * math.exp(-0.5 * ((hour - peak_h) / 26.0) ** 2)
            for peak_k, peak_h in peaks
        ]
        values_c[0] += 2.5 / (1.0 + math.exp((onset_h - hour) / rise_h))
        yield (
            (frame + 1) * 600.0,
            [f"b{number}" for number in range(BAGS)],
            [value_c + draw.gauss(0, 0.045) for value_c in values_c],
            [22.0 + 0.28 * math.sin(turn * hour) + draw.gauss(0, 0.03)] * BAGS,
            [True] * BAGS,
        )


def test_a_bag_that_heats_fast_in_air_that_rests_keeps_its_probe() -> None:
    for seed in range(3):
        for onset_h in (64.0, 88.0, 100.0, 112.0, 124.0):
            assert not said_of(quiet_room(onset_h + 36.0, onset_h, seed))


def test_a_bag_hardly_warmer_than_the_air_that_heats_while_that_warms_keeps_its_probe() -> None:
    for seed in range(3):
        for onset_h in range(64, 119, 6):
            assert not said_of(quiet_room(onset_h + 18.0, onset_h, seed, warm_k=0.3))


def test_what_swings_further_than_the_air_or_stands_far_from_it_is_no_probe_in_it() -> None:
    """Of 24 bags that heat within hours one was named, as its mates cooled while the air warmed;
    it is believed again before its heat is at its height."""
    named = [
        (onset_h, hours)
        for seed in range(3)
        for onset_h in (64.0, 70.0, 76.0, 88.0, 94.0, 100.0, 112.0, 124.0)
        for hours in said_of(quiet_room(onset_h + 24.0, onset_h, seed, rise_h=3.0)).values()
    ]
    assert len(named) <= 1
    assert all(max(hours) < onset_h + 6.0 for onset_h, hours in named)
