"""The lag of bags behind their air is learned where the air moves, and refused elsewhere."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from demo.filled import BOOT, HandClock, write_room
from demo.live import LiveRoom
from demo.physics import Bodies
from demo.rooms import DAY_S, FIRST, OYSTER, START_S, Room, make_room
from monitor.logbook import Logbook
from monitor.review.lag import Course, Lag, Seen, lag_of, seen_in, together
from monitor.review.normal import Normal, as_learned, exported, imported, lag_line
from monitor.review.records import bag_records
from monitor.settings.learned import write_learned
from monitor.settings.load import load_learned, load_settings
from monitor.sources.folder import read_folder
from monitor.store import Arrival, open_reader
from monitor.terms import Quantity
from monitor.thermal.bag import Z80
from monitor.values import BookEntry, Decoded, Reading
from tests.readme_examples import README, squashed

HOUR_S = 3600.0
MONITOR = """\
room: {name: barn, folder: room, timezone: UTC, band_low: 15 C, band_high: 29 C}
channels: none
store: {path: bagwatt.db}
"""


def batch(lag_h: float, seed: int, set_back_k: float, days: float = 9.0) -> list[Course]:
    """Bags that follow their air as a first-order body does, felt by probes that feel some air:
    night set-back, a ticking thermostat, weather, heat of their own, draughts and noise."""
    draw = np.random.default_rng(seed)
    hours = np.arange(0.0, 24.0 * days, 1.0 / 6.0)
    night = ((hours % 24.0) < 6.0) | ((hours % 24.0) >= 22.0)
    air = 21.0 - set_back_k * night + 0.3 * np.sin(2 * np.pi * hours / draw.uniform(0.4, 0.7))
    air += 0.3 * np.sin(2 * np.pi * hours / 93.0) + draw.normal(0.0, 0.05, len(hours))
    body = np.empty_like(air)
    body[0] = air[0]
    for row in range(1, len(hours)):
        body[row] = air[row] + (body[row - 1] - air[row]) * math.exp(-(1.0 / 6.0) / lag_h)
    found = []
    shared = np.convolve(draw.normal(0.0, 0.02, len(hours) + 11), np.ones(12), "valid")
    for _ in range(6):
        heat = draw.uniform(1.2, 2.2) * np.exp(-(((hours - draw.normal(110.0, 8.0)) / 50.0) ** 2))
        felt = draw.uniform(0.75, 0.9)
        own = np.convolve(draw.normal(0.0, 0.02, len(hours) + 11), np.ones(12), "valid")
        surface = felt * (body + heat) + (1.0 - felt) * air + shared + own
        surface += draw.normal(0.0, 0.05, len(hours))
        found.append(Course(hours, np.round(surface / 0.0625) * 0.0625, air))
    return found


@pytest.mark.parametrize("lag_h", [1.2, 2.2, 4.5])
def test_the_lag_that_bags_were_drawn_with_is_found(lag_h: float) -> None:
    """Within 15 %, and within twice its own interval."""
    one = seen_in(batch(lag_h, 4, 1.0))
    assert one is not None and one.tells
    assert math.exp(one.log_h) == pytest.approx(lag_h, rel=0.15)
    assert abs(one.log_h - math.log(lag_h)) < max(2 * Z80 * one.spread, 0.05)


def test_the_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    """80 % of twelve batches would be ten; by chance it may be as few as seven."""
    held = 0
    for seed in range(12):
        one = seen_in(batch(2.0, 100 + seed, 0.8))
        assert one is not None
        held += abs(one.log_h - math.log(2.0)) <= Z80 * max(one.spread, 0.02)
    assert held >= 7


def test_steady_air_tells_no_lag_and_that_is_said() -> None:
    one = seen_in(batch(2.0, 5, 0.05))
    assert one is not None and not one.tells
    words = together([(one, 2.0)], 2.0)
    assert isinstance(words, str) and words.startswith("the air was too steady: it moved by 0.")


def test_a_close_fit_to_air_that_hardly_moved_is_luck() -> None:
    assert Seen(math.log(2.0), 0.05, 0.5, 6).tells
    assert not Seen(math.log(2.0), 0.05, 0.1, 6).tells


def test_three_days_are_too_few() -> None:
    assert seen_in(batch(2.0, 5, 1.0, days=3.5)) is None
    assert isinstance(together([], 2.0), str)


def test_batches_that_differ_make_the_interval_wider() -> None:
    """Against what mass and filling say of each: 1.2 and 0.8 times it."""
    alike = [(Seen(math.log(2.0), 0.05, 1.0, 6), 2.0) for _ in range(2)]
    apart = [(Seen(math.log(2.4), 0.05, 1.0, 6), 2.0), (Seen(math.log(3.2), 0.05, 1.0, 6), 4.0)]
    same, wide = together(alike, 2.0), together(apart, 2.0)
    assert isinstance(same, Lag) and isinstance(wide, Lag)
    assert same.lag_h == pytest.approx(2.0)
    assert wide.lag_h == pytest.approx(2.0 * math.sqrt(1.2 * 0.8), rel=0.01)
    assert wide.high_h / wide.low_h > 1.5 * same.high_h / same.low_h


@pytest.fixture(scope="module")
def watched(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """A settings folder whose store has six days of readings of five bags, none judged, and the
    lag [h] with which these bags follow their air by the physics they were drawn with."""
    path = tmp_path_factory.mktemp("lag")
    calm = replace(
        FIRST.trouble, contaminated=0.0, stalled=0.0, fell=0, stuck=0, silent=0,
        run_chance=0.0, lot_chance=0.0, heater_stuck_chance=0.0,
    )  # fmt: skip
    spec = replace(
        FIRST, lines=FIRST.lines[:1], bags_per_cohort=5, days=6.0, session_days=(0.25,),
        set_back_k=(1.2, 1.3), trouble=calm,
    )  # fmt: skip
    room = make_room(spec, 2)
    (path / "monitor.yaml").write_text(MONITOR, encoding="utf-8")
    (path / "strains.yaml").write_text("strains: {GO-12: {}}\n", encoding="utf-8")
    write_room(path / "room", room)
    settings = load_settings(path, {})
    live, clock = LiveRoom(room, keep_truth=False), HandClock(START_S)
    log = Logbook(settings, clock, print)
    log.take_folder(read_folder(path / "room"), [], START_S)
    while clock.now_s < START_S + 6.0 * DAY_S:
        clock.now_s += 6 * HOUR_S
        log.keep([_arrival(*one) for one in enumerate(live.advance(clock.now_s))])
    for code in log.store.book()[0]:
        log.store.add_entry(BookEntry(START_S + 5.9 * DAY_S, code, "full run"))
    log.store.close()
    return path, passive_h(room)


def passive_h(room: Room) -> float:
    """How the same bags follow their air by the physics they were drawn with, were they dead: in
    air without noise that is known at each of them."""
    count = room.count
    dead = replace(room.bags, peak_w_per_kg=np.zeros(count), added_w=np.zeros(count))
    bodies = Bodies(dead, [OYSTER] * count, np.full(count, 21.0))
    surface, air = np.empty((7200, count)), np.empty(7200)
    for minute in range(len(air)):
        hour = (minute / 60.0) % 24.0
        air[minute] = 21.0 - 1.2 * (hour < 6.0 or hour >= 22.0)
        bodies.step(START_S + 60.0 * minute, 60.0, np.full(count, air[minute]), bodies.surface_c)
        surface[minute] = bodies.surface_c
    hours = np.arange(720) / 6.0
    means = surface.reshape(720, 10, count).mean(axis=1)
    even = air.reshape(720, 10).mean(axis=1)
    seen = seen_in([Course(hours[72:], means[72:, bag], even[72:]) for bag in range(count)])
    assert seen is not None
    return math.exp(seen.log_h)


def _arrival(number: int, said: object) -> Arrival:
    humid = said.quantity == "humidity"  # type: ignore[attr-defined]
    reading = Reading(
        said.probe, Quantity(said.quantity), said.value, said.time_s, said.time_s, "line",  # type: ignore[attr-defined]
        raw=said.value, raw_unit="%RH" if humid else "Cel",  # type: ignore[attr-defined]
    )  # fmt: skip
    return Arrival("line", "", reading.received_s, 0.0, BOOT, True, Decoded((reading,)))


def test_the_lag_of_an_invented_room_is_learned_from_its_stores_readings(
    watched: tuple[Path, float],
) -> None:
    """Noise, shelves, draughts, heat and probes that report once in ten minutes are all in it."""
    path, passive = watched
    with open_reader(path / "bagwatt.db") as store:
        lag = lag_of(store, bag_records(store))
    assert isinstance(lag, Lag)
    assert (lag.batches, lag.bags) == (1, 5)
    assert lag.lag_h == pytest.approx(passive, rel=0.25)
    assert lag.low_h < lag.lag_h < lag.high_h < 2.0 * lag.low_h
    span = f"{lag.lag_h:.1f} h ({lag.low_h:.1f} to {lag.high_h:.1f})"
    assert f'"{span}, seen on 5 bags in 1 batch"' in squashed(README)


NORMAL = Normal(
    "GO-12", 3, 30, START_S, START_S + 40 * DAY_S, 1.6, 0.2, 110.0, 8.0, 26.0, 4.0, 0.2, 0.05,
    (11.0, 13.0, 15.0), 0.1, 6.0, (), Lag(2.13, 1.9, 2.4, 3, 30, 1.9),
)  # fmt: skip


def test_a_lag_is_said_kept_and_exported(tmp_path: Path) -> None:
    """And a lag that can't be told is no number anywhere."""
    line = lag_line(NORMAL)
    assert "a lag of 2.1 h (1.9 to 2.4), seen on 30 bags in 3 batches" in line
    learned = as_learned(NORMAL, "barn")
    (tmp_path / "strains.yaml").write_text("strains: {GO-12: {}}\n", encoding="utf-8")
    write_learned(tmp_path, {"GO-12": learned})
    assert load_learned(tmp_path)["GO-12"] == learned
    assert imported(exported("GO-12", learned))[1].lag == learned.lag
    unseen = replace(NORMAL, lag="the air was too steady")
    assert as_learned(unseen, "barn").lag is None
    assert "can't be told: the air was too steady" in lag_line(unseen)
