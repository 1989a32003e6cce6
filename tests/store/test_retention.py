"""Old readings go in small steps, and leave their ten minutes behind for ever."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.store import Rollup, Store
from monitor.store.deliveries import DELIVERED
from monitor.values import Estimate, Flag, Quantity
from tests.store.samples import arrival, delivery, reading

FRAME_S = 600.0
FAR_S = 1e12


@pytest.fixture
def store(tmp_path: Path):
    with Store.open(tmp_path / "store.db", 0.0) as one:
        yield one


def close(store: Store, end_s: float) -> None:
    """Close a frame and keep the run so far twice, so that all before it may go."""
    store.close_frame(end_s, end_s, store.last_reading_id(), 0)
    for checkpoint in range(2):
        store.save_checkpoint(end_s + checkpoint, "{}")


def prune_all(store: Store, limit: int = 500) -> int:
    steps = 0
    while store.prune(FAR_S, limit=limit):
        steps += 1
    return steps


def test_ten_minutes_of_readings_become_one_row_however_they_are_cut(store: Store) -> None:
    values = [20.0, 21.0, 22.5, 19.5, 24.0, 18.0, 23.0]
    times = [0.0, 100.0, 599.9, 600.0, 700.0, 800.0, 900.0]
    for value, at_s in zip(values, times, strict=True):
        store.add_batch([arrival(reading(value, at_s))])
    close(store, 1800.0)
    store.close_frame(2400.0, 2400.0, 7, 0)
    assert prune_all(store, limit=2) == 4
    assert list(store.readings_after(0, 99)) == []
    assert store.rollups(0.0, FAR_S) == [
        Rollup(600.0, "t1", "", Quantity.TEMPERATURE, 20.0, pytest.approx(63.5 / 3), 22.5, 3, 0),
        Rollup(1200.0, "t1", "", Quantity.TEMPERATURE, 18.0, pytest.approx(21.125), 24.0, 4, 0),
    ]


def test_doubted_readings_are_counted_but_not_in_the_numbers_and_late_ones_are(
    store: Store,
) -> None:
    store.add_batch([arrival(reading(20.0, 10.0), reading(85.0, 20.0), reading(22.0, 30.0))])
    store.add_batch([arrival(reading(127.94, 10.0, probe="t2"))])
    store.add_flags([(2, Flag.POWER_ON), (3, Flag.LATE), (4, Flag.POWER_ON)])
    close(store, 1800.0)
    prune_all(store, limit=1)
    one, other = store.rollups(0.0, FAR_S)
    assert (one.low, one.mean, one.high, one.count, one.doubted) == (20.0, 21.0, 22.0, 2, 1)
    assert (other.low, other.mean, other.high, other.count, other.doubted) == (None,) * 3 + (0, 1)
    assert store.counts().flags == {}


def test_a_clock_that_was_not_set_makes_no_new_reading_old(store: Store) -> None:
    """Readings stamped 1970 are as old as the frame they were closed with."""
    store.add_batch([arrival(reading(20.0, 1e9))])
    close(store, 1e9)
    store.add_batch([arrival(reading(21.0, 50.0))])
    store.close_frame(1e9 + FRAME_S, 1e9 + FRAME_S, 2, 0)
    assert store.prune(1e9 - 1.0) == 0
    assert store.prune(1e9 + 1.0) == 1
    assert [one.value for _, one in store.readings_after(0, 9)] == [21.0]


def test_a_leap_of_the_clock_alone_makes_nothing_old(store: Store) -> None:
    """Thirty days are so many closed frames as well."""
    for frame in range(1, 11):
        store.add_batch([arrival(reading(20.0, frame * FRAME_S))])
        close(store, frame * FRAME_S)
    assert store.prune(FAR_S, frames_kept=10) == 0
    assert store.prune(FAR_S, frames_kept=7) == 3


def test_ids_go_on_and_the_log_stays_whole_when_all_readings_went(store: Store) -> None:
    store.add_batch([arrival(reading(20.0, 10.0))])
    close(store, FRAME_S)
    store.close_frame(2 * FRAME_S, 2 * FRAME_S, 1, 0)
    prune_all(store)
    assert store.last_reading_id() == 1
    assert store.add_batch([arrival(reading(21.0, 1300.0))]) == [[2]]
    assert [item.id for item in store.iter_log(2 * FRAME_S)] == [2]


def test_old_estimates_are_thinned_to_six_hours_and_settled_messages_go(store: Store) -> None:
    hour_s, day_s = 3600.0, 86400.0
    estimates = [(Estimate("B-07", hour * hour_s, 25.0, 22.0, 1.5), None) for hour in range(48)]
    messages = [delivery(1), delivery(2)]
    store.close_frame(FRAME_S, FRAME_S, 0, 0, estimates=estimates, messages=messages)
    first = messages[0].message.message_id
    store.settle([first], DELIVERED, "taken", 100.0)
    while store.prune(day_s):
        pass
    kept = [one.at_s / hour_s for one, _ in store.estimates(0.0, FAR_S)]
    assert kept == [0, 6, 12, 18, *range(24, 48)]
    assert [row.delivery.message.message_id for row in store.outbox()] == ["m2:Mara"]
