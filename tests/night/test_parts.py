"""The parts of the review on courses whose answer is known: rhythm, set-back, water, happenings."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest

from monitor.review.happenings import HappeningParams, find_happenings
from monitor.review.moist import dew_points, find_moist
from monitor.review.night_alarms import find_alarms, find_probes
from monitor.review.night_nouns import Heard, NightData, Seen, Series
from monitor.review.nights import Window
from monitor.review.rhythm import RhythmParams, find_rhythm
from monitor.review.room_air import (
    AirParams,
    binned,
    find_drift,
    find_layers,
    outside_band_s,
    room_level,
)
from monitor.values import AlarmKind, Facts, Probe, Reason, Transition, Urgency
from tests.night.samples import event

HOUR = 3600.0
#: Two nights and a day before the window, so that a usual day is known.
T0 = 1_772_568_000.0 // 86400 * 86400
WINDOW = Window(T0 + 44 * HOUR, T0 + 56 * HOUR)
Course = Callable[[float], float]


def saw(period_s: float, swing_k: float, duty: float, mean_c: float = 21.0) -> Course:
    """An on/off thermostat: up for `duty` of the period, down for the rest."""

    def course(at_s: float) -> float:
        phase = at_s % period_s / period_s
        up = phase / duty if phase < duty else (1.0 - phase) / (1.0 - duty)
        return mean_c + swing_k * (up - 0.5)

    return course


def read(course: Course, every_s: float = 60.0, noise_k: float = 0.03, from_h: float = 0) -> Series:
    rng = random.Random(1)
    count = int((WINDOW.end_s - T0 - from_h * HOUR) / every_s)
    times = [T0 + from_h * HOUR + number * every_s for number in range(count)]
    return tuple((at_s, course(at_s) + rng.gauss(0.0, noise_k)) for at_s in times)


def found(course: Course, swing_k: float = 0.0, **heard: Heard) -> list[tuple[Reason, int, int]]:
    """What happens in a course: reason, begin and end in minutes of the window."""
    level = room_level({"air": read(course)}, 60.0)
    told = find_happenings((), level, heard, WINDOW, swing_k, HappeningParams())
    return [(one.reason, minute(one.start_s), minute(one.end_s)) for one in told]


def minute(at_s: float | None) -> int:
    return -1 if at_s is None else round((at_s - WINDOW.start_s) / 60.0)


@pytest.mark.parametrize(("period_s", "swing_k", "duty"), [(600, 1.0, 0.3), (1800, 2.0, 0.6)])
def test_rhythm_of_a_saw_tooth_is_its_own(period_s: float, swing_k: float, duty: float) -> None:
    """Period, swing and the share of time rising, through the noise of a probe."""
    rhythm = find_rhythm(read(saw(period_s, swing_k, duty)), WINDOW, RhythmParams())
    assert rhythm is not None
    assert rhythm.period_s == pytest.approx(period_s, rel=0.03)
    assert rhythm.swing_k == pytest.approx(swing_k, rel=0.12)
    assert rhythm.duty == pytest.approx(duty, abs=0.06)
    assert rhythm.stopped is None and rhythm.was is None


def test_rhythm_that_changes_and_stops_is_told() -> None:
    """Twice as slow from the middle on; and a heater that never lets go."""
    fast, slow = saw(900, 1.2, 0.4), saw(2700, 1.2, 0.4)
    middle_s = WINDOW.start_s + 6 * HOUR
    changed = find_rhythm(
        read(lambda at: fast(at) if at < middle_s else slow(at)), WINDOW, RhythmParams()
    )
    assert changed is not None and changed.was is not None
    assert changed.was.period_s == pytest.approx(900, rel=0.05)
    assert changed.period_s == pytest.approx(2700, rel=0.05)
    held = find_rhythm(
        read(lambda at: 21.6 if middle_s < at < middle_s + 3 * HOUR else fast(at)),
        WINDOW,
        RhythmParams(),
    )
    assert held is not None and held.stopped is not None
    assert held.stopped.start_s == pytest.approx(middle_s, abs=1200)
    assert held.stopped.length_s == pytest.approx(3 * HOUR, abs=1800)


@pytest.mark.parametrize(
    ("course", "every_s"), [(saw(900, 1.2, 0.4), 600.0), (lambda at: 21.0, 60.0)]
)
def test_rhythm_is_none_where_none_can_be_seen(course: Course, every_s: float) -> None:
    """Readings as far apart as the ticks, and a room that only makes noise."""
    assert find_rhythm(read(course, every_s), WINDOW, RhythmParams()) is None


def set_back(at_s: float) -> float:
    """Down by 2 K from 22:00 to 06:00, as a room cools and warms, and 0.05 K/h of drift."""
    hour = (at_s - T0) / HOUR % 24
    since_h = (hour - 22) % 24
    depth_k = 2.0 * (1 - math.exp(-since_h / 0.4)) if since_h < 8 else 0.0
    if since_h >= 8:
        depth_k = 2.0 * math.exp(-(since_h - 8) / 0.4)
    return 21.0 - depth_k + 0.05 * (at_s - WINDOW.start_s) / HOUR


def test_drift_is_found_beside_a_set_back() -> None:
    """The slope is the drift's own, with zero outside its interval."""
    grid = tuple(
        ((n + 0.5) * 600.0, t) for n, t in sorted(binned(read(set_back, from_h=44), 600.0).items())
    )
    drift = find_drift(grid, (), AirParams())
    assert drift.set_back_k == pytest.approx(2.0, abs=0.25)
    assert drift.lowered_s == pytest.approx(T0 + 46 * HOUR, abs=1800)
    assert drift.raised_s == pytest.approx(T0 + 54 * HOUR, abs=1800)
    assert drift.slope is not None
    assert drift.slope.slope == pytest.approx(0.05, abs=0.02)
    assert drift.slope.low <= 0.05 <= drift.slope.high and drift.slope.sign == 1


def test_set_back_alone_is_no_happening() -> None:
    """Deeper than a door, faster than a drift, and every night the same."""
    assert found(set_back) == []


def test_probe_that_drops_out_moves_no_level() -> None:
    """The cold shelf's probe dies: the room did not warm by that."""
    cold = read(lambda at: 19.0, from_h=44)[:200]
    level = room_level({"low": cold, "top": read(lambda at: 23.0, from_h=44)}, 60.0)
    assert {round(temp_c) for _, temp_c in level} == {21}
    assert outside_band_s(level, (22.0, 25.0), 60.0) == (0, len(level) * 60.0)


def test_layers_are_read_from_the_bottom_up() -> None:
    """Top less bottom, its extreme, and nothing with one shelf."""
    probes = {"low": Probe("low", shelf=1), "top": Probe("top", shelf=5)}
    warm_s = WINDOW.start_s + 3 * HOUR
    air = {
        "low": read(lambda at: 20.0, from_h=44),
        "top": read(lambda at: 24.0 if warm_s < at < warm_s + HOUR else 21.5, from_h=44),
    }
    layers = find_layers(air, probes, WINDOW)
    assert layers is not None
    assert [one.shelf for one in layers.shelves] == [1, 5]
    assert layers.step_k == pytest.approx(1.5, abs=0.05)
    assert layers.widest_k == pytest.approx(4.0, abs=0.1)
    assert warm_s < layers.widest_s < warm_s + HOUR
    assert find_layers({"low": air["low"]}, probes, WINDOW) is None


@pytest.mark.parametrize(("film_c", "wet_h"), [(21.3, 12.0), (21.4, 0.0)])
def test_film_at_the_dew_point_is_wet(film_c: float, wet_h: float) -> None:
    """Air of 24 °C and 85 %: dew point 21.32 °C (PsychroLib after ASHRAE; CoolProp 21.323)."""
    air = {"air": read(lambda at: 24.0, 600.0, 0.0, 44)}
    dew = dew_points({"rh": read(lambda at: 85.0, 600.0, 0.0, 44)}, air, {})
    film = {"B1": read(lambda at: film_c, 600.0, 0.0, 44)}
    moist = find_moist(dew, air, film, WINDOW)
    assert moist is not None
    assert moist.dew_c == pytest.approx(21.322, abs=0.002)
    assert moist.wet_s == wet_h * HOUR
    assert moist.wet == "bag B1"


def door(at_s: float) -> float:
    """Ten minutes open at 02:00: 4 K down, and back within twenty minutes."""
    open_s = WINDOW.start_s + 6 * HOUR
    if open_s <= at_s < open_s + 600:
        return saw(1500, 1.0, 0.4)(at_s) - 4.0 * (at_s - open_s) / 600
    if at_s >= open_s + 600:
        return saw(1500, 1.0, 0.4)(at_s) - 4.0 * math.exp(-(at_s - open_s - 600) / 600)
    return saw(1500, 1.0, 0.4)(at_s)


def test_door_is_found_that_no_alarm_told_of() -> None:
    """Its begin and end to within some minutes; the thermostat's own swings are none."""
    ((reason, begin, end),) = found(door, swing_k=1.0)
    assert reason is Reason.DOOR
    assert begin == pytest.approx(363, abs=6) and end == pytest.approx(380, abs=12)
    assert found(saw(1500, 1.0, 0.4), swing_k=1.0) == []


def test_heater_and_cooler_that_stick_are_told_apart_from_lost_heat() -> None:
    """4 K/h is driven, 1.2 K/h is not; each lasts until half of it is undone."""

    def run(rate_k_per_h: float) -> Course:
        begin_s = WINDOW.start_s + 3 * HOUR
        return lambda at: 21.0 + rate_k_per_h * min(max(at - begin_s, 0.0) / HOUR, 3.0)

    cases = {
        4.0: Reason.HEATER_STUCK,
        -4.0: Reason.COOLER_STUCK,
        1.2: Reason.NO_COOLING,
        -1.2: Reason.NO_HEATING,
    }
    for rate, reason in cases.items():
        ((told, begin, end),) = found(run(rate))
        assert told is reason
        assert begin == pytest.approx(180, abs=25) and end == -1


def test_silence_of_every_probe_is_one_happening_and_no_probe_of_its_own() -> None:
    """Three probes dark from 02:00 to 02:40, one of them for an hour longer."""
    begin_s = WINDOW.start_s + 6 * HOUR
    short = Heard(600, (Window(begin_s, begin_s + 2400),))
    long = Heard(500, (Window(begin_s, begin_s + 6000),))
    heard = {"a": short, "b": short, "c": long}
    ((reason, begin, end),) = found(lambda at: 21.0, **heard)
    assert (reason, begin, end) == (Reason.POWER_CUT, 360, 400)
    data = NightData(
        WINDOW, (18.0, 25.0), {}, {name: Probe(name, f"B{name}") for name in heard}, {}, {}, {},
        heard, (), (), (),
    )  # fmt: skip
    told = find_probes(data, (Window(begin_s, begin_s + 2400),))
    assert [one.probe for one in told] == ["c"]


def test_probes_that_all_speak_once_an_hour_are_no_power_cut_but_three_hours_unheard_are() -> None:
    def heard(hours: list[int]) -> dict[str, Heard]:
        at_s = [WINDOW.start_s + hour * HOUR for hour in hours]
        silences = tuple(Window(one, later) for one, later in pairwise(at_s))
        return dict.fromkeys("abc", Heard(len(hours), silences))

    assert found(lambda at: 21.0, **heard(list(range(11)))) == []
    ((reason, begin, end),) = found(lambda at: 21.0, **heard([0, 1, 2, 5, 6, 7, 8, 9, 10]))
    assert (reason, begin, end) == (Reason.POWER_CUT, 120, 300)
    ((reason, begin, end),) = found(lambda at: 21.0, **heard([0, 11]))
    assert (reason, begin, end) == (Reason.POWER_CUT, 0, 660)


def test_alarm_is_sharpened_by_the_whole_course() -> None:
    """It began before the room left its usual range, and the slope says a heater drove it."""
    begin_s = WINDOW.start_s + 3 * HOUR
    raised_s = begin_s + 2400
    alarm = event(
        1, raised_s, AlarmKind.ROOM, "room", Transition.RAISED, Urgency.NOW, Reason.NO_COOLING,
        Facts(since_s=raised_s - 600),
    )  # fmt: skip
    level = room_level({"air": read(lambda at: 21.0 + 4.0 * max(at - begin_s, 0) / HOUR)}, 60.0)
    (told,) = find_happenings((alarm,), level, {}, WINDOW, 0.0, HappeningParams())
    assert (told.reason, told.seen, told.end_s) == (Reason.HEATER_STUCK, Seen.ALARM, None)
    assert told.start_s == pytest.approx(begin_s, abs=1200)
    assert told.peak_c == pytest.approx(57.0, abs=0.5)


def test_alarms_say_how_long_they_stood_and_who_answered() -> None:
    """One ended before the night is not told; what was done after the night is not counted."""
    kind, now, heat = AlarmKind.HOT_BAG, Urgency.NOW, Reason.ADDED_HEAT

    def step(number: int, hour: float, transition: Transition, by: str = ""):  # type: ignore[no-untyped-def]
        at_s = WINDOW.start_s + hour * HOUR
        return event(number, at_s, kind, f"B{number}", transition, now, heat, Facts(), by)

    told = find_alarms(
        (
            step(1, -5, Transition.RAISED),
            step(2, -4, Transition.RAISED),
            step(1, -3, Transition.RETURNED),
            step(3, 1, Transition.RAISED),
            step(3, 1.5, Transition.ACKNOWLEDGED, "owner"),
            step(3, 4, Transition.RETURNED),
            step(4, 5, Transition.RAISED),
            step(4, 5, Transition.SUPPRESSED),
            step(2, 13, Transition.ACKNOWLEDGED, "owner"),
        ),
        WINDOW,
    )
    assert [(one.alarm_id, one.stood_s / HOUR, one.stands, one.answered_by) for one in told] == [
        ("alarm-2", 16.0, True, ""),
        ("alarm-3", 3.0, False, "owner"),
        ("alarm-4", 7.0, True, ""),
    ]
    assert told[1].answered_after_s == 1800
    assert told[2].state == "suppressed by design"


def test_probe_never_heard_and_probe_not_believed_are_told() -> None:
    """A single doubted reading is ordinary."""
    heard = {
        "dead": Heard(),
        "odd": Heard(720, (), {"stuck": 300}),
        "fine": Heard(720, (), {"late": 1}),
    }
    data = NightData(
        WINDOW,
        (18.0, 25.0),
        {},
        {name: Probe(name) for name in heard},
        {},
        {},
        {},
        heard,
        (),
        (),
        (),
    )
    told = find_probes(data, ())
    assert [one.probe for one in told] == ["dead", "odd"]
    assert told[0].silent_s == WINDOW.length_s and not told[0].back
    assert replace(told[1], doubts={}).silent_s == 0


def test_happening_that_ended_before_the_night_is_not_told() -> None:
    """A heater that stuck in the afternoon and was stopped is not the night's."""
    begin_s = WINDOW.start_s - 10 * HOUR

    def afternoon(at: float) -> float:
        hours = (at - begin_s) / HOUR
        return 21.0 + 4.0 * max(0.0, min(hours, 2.0, 6.0 - hours))

    assert found(afternoon) == []
