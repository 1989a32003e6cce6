"""The room's watch on frames written by hand: one line of its rules at a time."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping

import pytest

from monitor.judge import frames as frames_of
from monitor.judge.frames import Frames
from monitor.judge.local_air import LagBank, interpolate_air
from monitor.judge.room import RoomParams, RoomWatch
from monitor.judge.room_level import RoomLevel
from monitor.judge.room_silence import Silence
from monitor.values import Flagged, Frame, Mean, Probe, Quantity, Reading, Reason

HOUR_S, FRAME_S = 3600.0, 600.0
AIR = {f"a{shelf}": Probe(f"a{shelf}", shelf=shelf) for shelf in (1, 5)}
BAGS = {f"b{number}": Probe(f"b{number}", bag=f"B{number}", shelf=3) for number in range(6)}
PROBES = AIR | BAGS
Course = Callable[[float], float]


def frame(
    end_s: float, air_c: Mapping[str, float], bags_c: Mapping[str, float] | None = None
) -> Frame:
    def means(values: Mapping[str, float]) -> dict[str, Mean]:
        return {name: Mean(value, 2, end_s - 30.0) for name, value in values.items()}

    return Frame(end_s, FRAME_S, means(air_c), means(bags_c or {}), {}, ())


def said(
    hours: float,
    air: Course | None,
    bags: Course | None = None,
    params: RoomParams | None = None,
    probes: Iterable[str] = AIR,
    excess_k: float = 0.0,
) -> list[tuple[float, Reason | None]]:
    """(hour, reason) whenever what is said of the room changes; °C by hour."""
    room, told = RoomWatch(params or RoomParams()), []
    for step in range(1, round(hours * 6) + 1):
        hour = step / 6
        one = frame(
            hour * HOUR_S,
            {} if air is None else dict.fromkeys(probes, air(hour)),
            {} if bags is None else {f"B{number}": bags(hour) for number in range(6)},
        )
        known = {f"B{number}": excess_k for number in range(6)}
        found = room.step(one, PROBES, known)
        reason = found[0].reason if found else None
        if reason != (told[-1][1] if told else None):
            told.append((hour, reason))
    return told


def test_a_band_alarm_clears_half_a_kelvin_inside_its_limit() -> None:
    still = RoomParams(margin_k=50.0, early_margin_k=50.0)

    def back_to(temp_c: float) -> list[Reason | None]:
        course = said(12, lambda hour: 28.0 if 4 < hour <= 6 else temp_c, params=still)
        return [reason for _, reason in course]

    assert back_to(26.7) == [Reason.ROOM_HIGH]
    assert back_to(26.3) == [Reason.ROOM_HIGH, None]


def test_bags_that_stand_in_for_air_never_heard_may_be_warmer_by_their_own_heat() -> None:
    """27 °C is a limit of air: bags 2 K over it are in their band, 4 K over it are not."""
    still = RoomParams(margin_k=50.0, early_margin_k=50.0)
    assert said(4, None, lambda hour: 29.0, still) == []
    assert [one for _, one in said(4, None, lambda hour: 31.0, still)] == [Reason.ROOM_HIGH]
    assert said(4, None, lambda hour: 31.0, still, excess_k=3.0)[:1] == []


@pytest.mark.parametrize("back_k", [2.0, 3.0, 4.0, 5.0])
def test_what_a_room_does_outside_its_band_is_learned_as_well(back_k: float) -> None:
    """Set back each night to under its band: it is told of as cold, and no heating is lost."""

    def air(hour: float) -> float:
        day_h = hour % 24.0
        fallen = 1.0 - math.exp(-(day_h - 14.0)) if day_h >= 14.0 else math.exp(-day_h / 0.8)
        return 22.5 - back_k * fallen

    told = said(240, air, None, RoomParams(band_low_c=20.0))
    assert {reason for _, reason in told} <= {None, Reason.ROOM_LOW}


def test_a_room_not_known_yet_that_climbs_out_of_its_band_has_a_stuck_heater() -> None:
    told = said(12, lambda hour: 21.0 + min(9.0, max(0.0, 4.0 * (hour - 4.0))), None)
    assert Reason.HEATER_STUCK in {reason for _, reason in told}


def _hot_from(hour: float, starts_h: Iterable[float]) -> float:
    """Air that climbs by 6 K from each of `starts_h` on and has come down 8 h later [°C]."""
    return 20.0 + max(
        0.0, *(min(6.0, 6.0 * (hour - at_h), 2.0 * (at_h + 8.0 - hour)) for at_h in starts_h)
    )


def test_an_upset_at_one_hour_of_two_days_running_is_what_the_room_does() -> None:
    """A hall warmed for the day's work; a heater that sticks does so at any hour."""
    band = RoomParams(band_high_c=25.0)

    def stuck_h(starts_h: list[float]) -> list[float]:
        told = said(240, lambda hour: _hot_from(hour, starts_h), None, band)
        return [hour for hour, reason in told if reason is Reason.HEATER_STUCK]

    assert len(stuck_h([30.0 + 24.0 * day for day in range(8)])) <= 2
    assert len(stuck_h([30.0, 65.0, 100.0, 135.0, 170.0, 205.0])) == 6


def test_a_milder_reason_sharpens_to_what_drives_the_room() -> None:
    """Over its band already; then the heater sticks, and the bags follow."""
    told = said(
        60,
        lambda hour: 24.0 if hour < 48 else min(36.0, 24.0 + 6.0 * (hour - 48.0)),
        lambda hour: 25.0 if hour < 48 else min(30.0, 25.0 + 1.5 * (hour - 48.0)),
        RoomParams(band_high_c=23.0),
    )
    assert [reason for _, reason in told][:2] == [Reason.ROOM_HIGH, Reason.HEATER_STUCK]


def test_an_upset_clears_only_once_the_room_was_well_for_half_an_hour() -> None:
    told = said(
        72,
        lambda hour: 22.0 if hour < 50 or hour > 56 else 22.0 + min(9.0, 5.0 * (hour - 50.0)),
        lambda hour: 23.0 if hour < 50 else 23.0 + min(3.0, hour - 50.0),
        RoomParams(band_high_c=40.0),
    )
    assert [reason for _, reason in told] == [Reason.HEATER_STUCK, None]
    # the half-hour mean is back 20 min after the air, and then it must last
    assert told[1][0] - 56.0 >= 0.5 + 1 / 6


@pytest.mark.parametrize(
    ("bags", "reasons"),
    [(lambda hour: 23.0, False), (lambda hour: 23.0 + max(0.0, 1.2 * (hour - 50.0)), True)],
    ids=["bags at rest", "bags follow"],
)
def test_air_that_climbs_while_no_bag_warms_is_not_the_room(bags: Course, reasons: bool) -> None:
    """A lamp beside the air probes warms them alone."""
    told = said(
        51.2, lambda hour: 22.0 + max(0.0, 3.5 * (hour - 50.0)), bags, RoomParams(band_high_c=60.0)
    )
    assert bool({Reason.HEATER_STUCK, Reason.NO_COOLING} & {one for _, one in told}) is reasons


def test_one_shelf_in_the_sun_is_not_the_room() -> None:
    room, found = RoomWatch(RoomParams(band_high_c=60.0)), set()
    for step in range(1, 6 * 51 + 2):
        hour = step / 6
        air_c = {"a1": 22.0, "a5": 23.0 + max(0.0, 8.0 * (hour - 50.0))}
        bags_c = {f"B{number}": 23.0 + max(0.0, hour - 50.0) for number in range(6)}
        found |= {one.reason for one in room.step(frame(hour * HOUR_S, air_c, bags_c), PROBES, {})}
    assert not found


def test_a_room_that_fell_and_comes_back_by_itself_has_not_lost_its_heat() -> None:
    """Aired for 20 min: half an hour later it is still cold, and on its way up."""

    def falls(back_k_per_h: float) -> set[Reason | None]:
        def air(hour: float) -> float:
            fallen_k = min(5.0, max(0.0, 15.0 * (hour - 50.0)))
            return 22.0 - fallen_k + min(5.0, max(0.0, back_k_per_h * (hour - 50.5)))

        params = RoomParams(band_low_c=0.0, plunge_k=50.0)
        return {reason for _, reason in said(54, air, lambda hour: 23.0, params)}

    assert falls(0.0) - {None}
    assert not falls(5.0)


def test_with_air_on_one_shelf_a_plunge_tells_a_door_from_lost_heat() -> None:
    def falls(k_per_h: float) -> set[Reason | None]:
        air: Course = lambda hour: 22.0 - min(6.0, max(0.0, k_per_h * (hour - 50.0)))  # noqa: E731
        bags: Course = lambda hour: 23.0 - min(2.0, max(0.0, 0.6 * (hour - 50.0)))  # noqa: E731
        params = RoomParams(band_low_c=0.0)
        return {reason for _, reason in said(52.5, air, bags, params, probes=["a1"])}

    assert Reason.DOOR in falls(24.0)
    assert Reason.DOOR not in falls(2.0) and Reason.NO_HEATING in falls(2.0)


def heard(pattern: Iterable[int], silence: Silence | None = None, begin: int = 0) -> list[bool]:
    """Whether the room was silent at each frame, of six bag probes of which so many spoke."""
    silence = silence or Silence()
    return [
        silence.step(
            frame((begin + step + 1) * FRAME_S, {}, {f"B{number}": 22.0 for number in range(count)})
        )
        for step, count in enumerate(pattern)
    ]


def test_three_silent_frames_are_a_cut_and_a_room_of_rare_probes_has_its_own_habit() -> None:
    assert heard([6, 6, 0, 0, 0]) == [False, False, False, False, True]
    # two of three frames are empty by habit: a cut is two more than that
    assert heard([6, 0, 0, 6, 0, 0, 6, 0, 0, 0, 0])[-3:] == [False, False, True]


def test_a_probe_with_a_battery_that_speaks_on_does_not_hide_a_cut() -> None:
    silence, names = Silence(), [f"B{number}" for number in range(12)]
    found = []
    for step in range(8):
        speaking = names if step < 4 else names[:1]
        found.append(silence.step(frame((step + 1) * FRAME_S, {}, dict.fromkeys(speaking, 22.0))))
    assert found == [False] * 6 + [True] * 2
    assert True not in heard([6, 6, 2, 2, 2, 2, 2])


def test_probes_taken_off_long_ago_are_no_voices() -> None:
    silence = Silence()
    heard([6] * 6 + [4] * 20, silence)
    assert silence.voices == 4


def test_distances_are_not_learned_while_the_room_is_upset() -> None:
    """A shelf that an open door cools for hours keeps its usual distance."""
    level = RoomLevel()
    for step in range(200):
        level.step(frame(step * FRAME_S, {"a1": 21.0, "a5": 23.0}), PROBES, {}, learn=True)
    for step in range(200, 260):
        level.step(frame(step * FRAME_S, {"a1": 15.0, "a5": 23.0}), PROBES, {}, learn=False)
    found = level.step(frame(260 * FRAME_S, {"a1": 21.0, "a5": 23.0}), PROBES, {}, learn=False)
    assert found is not None
    assert found.level_c == pytest.approx(22.0, abs=0.05)
    assert found.tilt_k == pytest.approx(0.0, abs=0.1)


def test_a_frame_keeps_no_more_than_its_bound_and_counts_the_rest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(frames_of, "MOST_WAITING", 3)
    open_frame = Frames(FRAME_S)
    for number in range(5):
        one = Reading("a1", Quantity.TEMPERATURE, 21.0 + number, 10.0 + number, 10.0 + number)
        open_frame.add(Flagged(one, one.value))
    assert open_frame.left_out == 2
    assert open_frame.close(FRAME_S, PROBES).air_c["a1"].count == 3


def test_below_the_lowest_probe_the_air_is_that_probes_and_not_drawn_on() -> None:
    assert interpolate_air([(2.0, 20.0), (4.0, 24.0)], 1) == 20.0


def test_a_lag_is_not_stepped_back_by_a_frame_that_comes_again() -> None:
    bank = LagBank()
    bank.step(0.0, {"B1": 20.0}, {"B1": HOUR_S})
    there = bank.step(HOUR_S, {"B1": 24.0}, {"B1": HOUR_S})["B1"]
    assert bank.step(0.0, {"B1": 10.0}, {"B1": HOUR_S})["B1"] == there
    assert bank.step(HOUR_S, {"B1": 10.0}, {"B1": HOUR_S})["B1"] == there
