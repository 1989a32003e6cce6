"""What a clock that was ahead had closed is put by, in the store's own terms."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.store import Store
from monitor.values import AlarmCommand, BookEntry, Flag
from tests.store.samples import arrival, delivery, event, reading

FAR_S = 1e7


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "store.db", 0.0) as one:
        yield one


def close(store: Store, end_s: float) -> None:
    store.close_frame(end_s, end_s, store.last_reading_id(), 0)


def test_the_state_before_a_leap_of_the_frames_is_kept_for_some_days(store: Store) -> None:
    """A clock that leapt ahead may be found wrong once the two newest are of its time."""
    ends = [600.0, 1200.0, *(9e6 + 600.0 * number for number in range(1010))]
    for end_s in ends:
        store.close_frame(end_s, end_s, 0, 0)
        if end_s % 1200 == 0:
            store.save_checkpoint(end_s, f"state {end_s}")
        if end_s == ends[950]:
            assert [one.end_s for one in store.checkpoints()][2:] == [1200.0]
    assert len(store.checkpoints()) == 2


def test_a_clock_that_was_far_ahead_made_no_settled_message_old(store: Store) -> None:
    """So many frames must have been closed since."""
    store.close_frame(600.0, 600.0, 0, 0, messages=[delivery(1)])
    store.settle(["m1:Mara"], "delivered", "", 700.0)
    close(store, FAR_S)
    assert store.prune(FAR_S - 600.0, 100) == 0
    assert len(store.outbox()) == 1


def test_what_is_put_by_leaves_the_log_once_and_its_numbers_are_not_used_again(
    store: Store,
) -> None:
    store.add_batch([replace(arrival(reading(20.0, 500.0)), monotonic_s=500.0)])
    close(store, 600.0)
    store.add_batch([replace(arrival(reading(21.0, FAR_S)), monotonic_s=700.0)])
    store.add_flags([(2, Flag.LATE)])
    far = replace(event(2, alarm_id="a2"), at_s=FAR_S + 600.0)
    told = replace(delivery(1), message=replace(delivery(1).message, message_id="a2-2:Mara"))
    told = replace(told, message=replace(told.message, created_s=FAR_S + 601.0))
    store.close_frame(FAR_S + 600.0, FAR_S + 601.0, 2, 0, events=[far], messages=[told])
    store.save_checkpoint(FAR_S + 600.0, "{}")
    store.add_command(AlarmCommand(FAR_S + 700.0, "acknowledge", "a2", by="Mara"))
    store.add_entry(BookEntry(FAR_S + 700.0, "B-07", "moved"))
    assert store.put_by(1200.0, "boot-a", 0.0)
    assert not store.put_by(1200.0, "boot-a", 0.0)
    store.close_frame(1200.0, 1200.0, 2, 2)
    log = list(store.iter_log())
    kinds = [(item.kind.value, item.id) for item in log]
    assert kinds == [("reading", 1), ("frame", 1), ("reading", 2), ("entry", 2), ("frame", 3)]
    assert log[3].body == store.journal_after(1)[0].body == BookEntry(1400.0, "B-07", "moved")
    assert [one.measured_s for _, one in store.readings_after(0, 9)] == [500.0, 700.0]
    assert [one.marks for _, one in store.readings_after(0, 9)] == [(), (Flag.CLOCK_AHEAD,)]
    assert store.flags_of(2) == ()
    assert store.events() == [] and store.checkpoints() == []
    (row,) = store.outbox()
    assert row.delivery.message.message_id == "aside 1: a2-2:Mara"
    assert row.delivery.state == "expired"
    aside = store.put_by_last()
    assert aside is not None
    assert (aside.since_s, aside.frames, aside.closes) == (600.0, 1, 1)
    assert aside.ahead_s == pytest.approx(FAR_S - 700.0)
