"""A power cut is told by the pace of the probes that fall silent."""

from __future__ import annotations

import json
import math

import pytest

from monitor.judge.room_silence import Silence
from monitor.values import Frame, Mean, Reason
from tests.judge.paced_room import FRAME_S, HOUR_S, PROBES, Spoken, at_once, named, on_change


@pytest.mark.parametrize("every_s", [1800.0, 3600.0])
def test_probes_that_all_speak_at_once_and_seldom_are_no_power_cut(every_s: float) -> None:
    assert named(at_once(48.0, every_s), Reason.POWER_CUT) == []


def test_a_cut_among_probes_that_speak_once_an_hour_is_told_ten_minutes_after_their_hour() -> None:
    def spoken() -> Spoken:
        for number, readings in enumerate(at_once(36.0, HOUR_S)):
            yield readings if number * FRAME_S < 24.5 * HOUR_S else []

    cut = named(spoken(), Reason.POWER_CUT)
    # last heard in the frame that ends at 24:10; due in the one that ends at 25:10
    assert cut[0][0] == pytest.approx(24 + 80 / 60)


def test_a_cut_among_probes_that_speak_on_change_is_told_within_two_hours() -> None:
    cut = named(on_change(54.0, 0.25, 1.0, mute=PROBES), Reason.POWER_CUT)
    assert cut and 48.5 <= cut[0][0] <= 50.0


def test_cuts_that_follow_each_other_are_told_as_fast_as_the_first() -> None:
    """Half an hour of power and two without, again and again; each probe speaks in every frame."""

    def powered(frame: int) -> bool:
        return frame < 6 or (frame - 6) % 15 >= 12

    def spoken() -> Spoken:
        for frame, readings in enumerate(at_once(12.0, FRAME_S)):
            yield readings if powered(frame) else []

    cut_h = {hour for hour, _ in named(spoken(), Reason.POWER_CUT)}
    for frame in range(72):
        recent = [powered(one) for one in range(frame - 2, frame + 1)]
        assert ((frame + 1) / 6 in cut_h) is not any(recent)


def test_a_slow_probe_among_fast_ones_does_not_hold_up_a_cut() -> None:
    def spoken() -> Spoken:
        for frame, readings in enumerate(at_once(8.0, FRAME_S)):
            heard = [one for one in readings if one.probe not in ("b0", "b1") or not frame % 6]
            yield heard if frame < 37 else []

    cut = named(spoken(), Reason.POWER_CUT)
    assert cut[0][0] == pytest.approx(40 / 6)


def test_probes_that_have_rested_each_by_itself_may_rest_together_as_long() -> None:
    """Six, of which one in turn rests for 50 minutes; then all do, and it is no cut till longer."""

    def speaks(bag: int, frame: int) -> bool:
        return frame < 120 and frame // 5 % 6 != bag

    silence, cut = Silence(), []
    for frame in range(130):
        end_s = (frame + 1) * FRAME_S
        heard = {f"B{bag}": Mean(22.0, 1, end_s) for bag in range(6) if speaks(bag, frame)}
        cut.append(silence.step(Frame(end_s, FRAME_S, {}, heard, {})))
    assert not any(cut[:125]) and all(cut[127:])
    again = Silence()
    again.restore(json.loads(json.dumps(silence.state())))
    assert vars(again) == vars(silence)


def test_some_fast_probes_do_not_speak_for_more_that_rest_for_hours() -> None:
    """Ten speak every three hours, each in its turn; eight in every frame until their wire goes."""

    def speaks(bag: int, frame: int) -> bool:
        return frame % 18 == bag * 18 // 10 if bag < 10 else frame < 90

    silence, cut = Silence(), []
    for frame in range(110):
        end_s = (frame + 1) * FRAME_S
        heard = {f"B{bag}": Mean(22.0, 1, end_s) for bag in range(18) if speaks(bag, frame)}
        cut.append(silence.step(Frame(end_s, FRAME_S, {}, heard, {})))
    assert not any(cut)


@pytest.mark.parametrize("heartbeat_h", [1.0, 4.0, math.inf])
@pytest.mark.parametrize("step_k", [0.1, 0.25, 0.5])
def test_probes_that_speak_on_change_are_no_power_cut(step_k: float, heartbeat_h: float) -> None:
    assert named(on_change(72.0, step_k, heartbeat_h), Reason.POWER_CUT) == []
