from __future__ import annotations

import math
import os
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import StoreError
from monitor.store import BookChange, FrameClose, LogKind, Store, codec, readings, seen
from monitor.values import (
    AlarmCommand,
    AlarmKind,
    BookEntry,
    Condition,
    Decoded,
    Estimate,
    Evidence,
    Facts,
    Flag,
    Probe,
    Quantity,
    Reading,
    Reason,
    Refusal,
    Refused,
    Transition,
    Urgency,
)
from tests.store.samples import arrival, bag, delivery, event, reading


@pytest.fixture
def store(tmp_path: Path):
    with Store.open(tmp_path / "store.db", 0.0) as one:
        yield one


def log_of(store: Store, after: float | None = None) -> list[tuple[str, object]]:
    return [(item.kind.value, item.body) for item in store.iter_log(after)]


# readings


def test_a_reading_comes_back_as_it_was_given(store: Store) -> None:
    given_reading = reading(24.5, 1000.0)
    assert store.add_batch([arrival(given_reading, reading(55.0))]) == [[1, 2]]
    assert next(store.readings_after(0, 9)) == (1, given_reading)


def test_a_delivery_sent_twice_is_stored_once_also_within_one_batch(store: Store) -> None:
    twice = [arrival(reading(), dedup="k1"), arrival(reading(), dedup="k1")]
    assert store.add_batch(twice) == [[1], []]
    assert store.add_batch([arrival(reading(), dedup="k1")]) == [[]]
    assert store.add_batch([arrival(reading(), dedup="k2")]) == [[2]]


def test_equal_readings_without_a_delivery_key_are_all_stored(store: Store) -> None:
    assert store.add_batch([arrival(reading()), arrival(reading())]) == [[1], [2]]


def test_a_batch_that_fails_forgets_its_delivery_keys_too(store: Store) -> None:
    with pytest.raises(RuntimeError), store.transaction():
        store.add_batch([arrival(reading(), dedup="k1")])
        raise RuntimeError
    assert store.add_batch([arrival(reading(), dedup="k1")]) == [[1]]


def test_delivery_keys_are_bounded_and_each_source_keeps_its_own(store: Store) -> None:
    other = arrival(reading(), dedup="quiet")
    store.add_batch([other.__class__("garden", "quiet", 0.0, 0.0, "b", True, Decoded())])
    many = [arrival(dedup=f"d{number}") for number in range(3 * seen.KEPT)]
    for at in range(0, len(many), 7):  # batches end anywhere in a block
        store.add_batch(many[at : at + 7])
    with store.transaction() as connection:
        kept = connection.execute("SELECT sum(length(keys)) FROM seen").fetchone()[0] / 8
    assert seen.KEPT < kept < seen.KEPT + 300
    for number in (2 * seen.KEPT, 3 * seen.KEPT - 1):
        assert store.add_batch([arrival(reading(), dedup=f"d{number}")]) == [[]]
    assert store.add_batch([arrival(reading(), dedup="d0")]) == [[1]]  # long forgotten
    again = other.__class__("garden", "quiet", 0.0, 0.0, "b", True, Decoded((reading(),)))
    assert store.add_batch([again]) == [[]]


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_no_number_is_quarantined_and_its_batch_survives(
    store: Store, value: float
) -> None:
    assert store.add_batch([arrival(reading(value), reading(21.0))]) == [[1]]
    assert store.quarantined()[0].reason == Refusal.NOT_FINITE


def test_a_lone_surrogate_in_a_name_does_not_sink_the_batch(store: Store) -> None:
    assert store.add_batch([arrival(reading(probe="t\ud800"))]) == [[1]]
    assert next(store.readings_after(0, 1))[1].probe == "t\\ud800"


def test_quarantine_is_bounded_but_its_counts_are_not(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(readings, "QUARANTINE_KEPT", 10)
    bad = Refused("barn", Refusal.NOT_JSON, "char 3", b"x" * 9000, 5.0)
    store.add_batch([arrival(refused=(bad,)) for _ in range(25)])
    kept = store.quarantined()
    assert [one.id for one in kept] == list(range(25, 15, -1))
    assert len(kept[0].raw) == 4096
    assert store.counts().refused == {("barn", "not JSON"): 25}


def test_flags_stand_beside_a_reading_and_are_written_once(store: Store) -> None:
    store.add_batch([arrival(reading())])
    store.add_flags([(1, Flag.STUCK), (1, Flag.RANGE), (1, Flag.STUCK)])
    assert store.flags_of(1) == (Flag.RANGE, Flag.STUCK)
    assert store.counts().flags == {"out of range": 1, "stuck": 1}


def test_a_flag_for_no_reading_is_refused(store: Store) -> None:
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        store.add_flags([(99, Flag.STUCK)])


def test_a_clock_step_moves_only_our_own_times_of_that_boot(store: Store) -> None:
    ours, old = reading(20.0, 50.0), reading(20.5, 40.0)
    device = reading(21.0, 60.0).__class__(**{
        **{name: getattr(ours, name) for name in ours.__dataclass_fields__},
        "measured_s": 1_700_000_000.0,
    })  # fmt: skip
    store.add_batch([arrival(old, boot_id="earlier", synced=False)])
    store.add_batch([arrival(ours, device, synced=False), arrival(reading(22.0, 70.0))])
    item = store.restamp("boot-a", 1000.0, 1070.0)
    assert item is not None and item.body.last_reading_id == 4
    times = [one.measured_s for _, one in store.readings_after(0, 9)]
    assert times == [40.0, 1050.0, 1_700_000_000.0, 70.0]
    assert [number for number, _ in store.restamped(item.body)] == [2]
    # The log gives what the road saw, then the step.
    times = [body.measured_s for kind, body in log_of(store) if kind == "reading"]
    assert times == [40.0, 50.0, 1_700_000_000.0, 70.0]
    assert log_of(store)[-1] == ("restamp", item.body)
    assert store.restamp("boot-a", 1000.0, 1071.0) is None


# the log

TEXT = st.text(max_size=8) | st.sampled_from(["", "t\ud800", "mößig", "a\0b"])
FINITE = st.floats(allow_nan=False, allow_infinity=False)


@settings(max_examples=60, deadline=None)
@given(
    names=st.tuples(TEXT, TEXT, TEXT, TEXT), value=FINITE | st.integers(-99, 99),
    at_s=st.none() | st.floats(), raw=st.none() | FINITE,
    marks=st.lists(st.sampled_from(list(Flag)), max_size=2, unique=True).map(tuple),
)  # fmt: skip
def test_what_is_appended_is_given_as_it_is_read_back(names, value, at_s, raw, marks) -> None:
    probe, source, hung_on, unit = names
    one = Reading(
        probe, Quantity.TEMPERATURE, value, at_s, 5.0, source, hung_on, raw, unit, marks
    )  # fmt: skip
    where = os.environ.get("PYTEST_DEBUG_TEMPROOT")
    with TemporaryDirectory(dir=where) as name, Store.open(Path(name) / "s.db", 0.0) as store:
        rows = store.append([arrival(one), arrival(one, one)], 0, 0)
        assert rows == list(store.iter_log())
        assert [type(row.body.value) for row in rows] == [float] * 3


def test_more_than_was_appended_in_the_log_has_to_be_read(store: Store) -> None:
    assert [one.id for one in store.append([arrival(reading())], 0, 0) or ()] == [1]
    with Store.open(store.path, 0.0) as other:
        other.add_batch([arrival(reading(23.0))])
    assert store.append([arrival(reading(24.0))], 1, 0) is None
    other_journal = store.add_command(AlarmCommand(2.0, "acknowledge", "a1"))
    assert store.append([arrival(reading(25.0))], 3, 0) is None
    assert store.append([arrival(reading(26.0))], 4, other_journal) is not None


STEPS = st.lists(st.sampled_from(["reading", "command", "entry", "book", "frame"]), max_size=30)


@settings(max_examples=40, deadline=None)
@given(steps=STEPS)
def test_the_log_repeats_what_happened_in_order_from_any_frame(
    tmp_path_factory: pytest.TempPathFactory, steps: list[str]
) -> None:
    path = tmp_path_factory.mktemp("log") / "store.db"
    done: list[tuple[str, object]] = []
    with Store.open(path, 0.0) as store:
        last_command = 0
        for number, step in enumerate(steps, start=1):
            match step:
                case "reading":
                    body: object = reading(number, number)
                    store.add_batch([arrival(body)])
                case "command":
                    body = AlarmCommand(number, "acknowledge", "a1", by="Mara")
                    last_command = store.add_command(body)
                case "entry":
                    body = BookEntry(number, "B-07", "moved", "to R2")
                    last_command = store.add_entry(body) or 0
                case "book":
                    new = bag(rack=f"R{number}")
                    (item,) = store.add_book(number, [new], [])
                    last_command, body = item.id, BookChange("B-07", new, False)
                case _:
                    store.close_frame(number, number + 0.5, store.last_reading_id(), last_command)
                    body = store.last_frame()
            done.append((step, body))
        assert log_of(store) == done
        for place, (step, body) in enumerate(done):
            if step == "frame":
                assert log_of(store, body.end_s) == done[place + 1 :]


def test_the_log_after_a_frame_never_closed_is_an_error(store: Store) -> None:
    with pytest.raises(KeyError, match="no frame was closed"):
        list(store.iter_log(600.0))


def test_a_long_log_is_read_in_pieces_and_whole(store: Store) -> None:
    store.add_batch([arrival(reading(value, value)) for value in range(2500)])
    store.add_command(AlarmCommand(1.0, "acknowledge", "a1"))
    store.add_batch([arrival(reading(value, value)) for value in range(2500, 2510)])
    kinds = [item.kind for item in store.iter_log()]
    assert kinds.count(LogKind.READING) == 2510
    assert kinds.index(LogKind.COMMAND) == 2500


def test_a_command_of_another_process_waits_for_the_frame_that_took_it(store: Store) -> None:
    store.add_batch([arrival(reading(1.0, 1.0))])
    with Store.open(store.path, 0.0) as other:
        other.add_command(AlarmCommand(2.0, "acknowledge", "a1"))
    store.close_frame(600.0, 600.0, 1, 0)
    assert [item.id for item in store.journal_after(0)] == [1]
    store.close_frame(1200.0, 1200.0, 1, 1)
    assert [kind for kind, _ in log_of(store)] == ["reading", "frame", "command", "frame"]


# the book


def test_only_what_changed_in_the_book_becomes_a_new_version(store: Store) -> None:
    probes = [Probe("t1", "B-07"), Probe("t2")]
    assert len(store.add_book(1.0, [bag(), bag("B-08")], probes)) == 4
    assert store.add_book(2.0, [bag(), bag("B-08")], probes) == []
    changed = store.add_book(3.0, [bag(rack="R2")], probes)
    assert [item.body for item in changed] == [
        BookChange("B-07", bag(rack="R2"), False),
        BookChange("B-08", None, False),
    ]
    assert store.book() == ({"B-07": bag(rack="R2")}, {one.probe: one for one in probes})
    assert len(store.add_book(4.0, [bag(rack="R2"), bag("B-08")], probes)) == 1


def test_a_book_entry_read_twice_is_written_once(store: Store) -> None:
    entry = BookEntry(5.0, "B-07", "shaken")
    assert store.add_entry(entry) == 1
    assert store.add_entry(entry) is None


# frames, events, messages, estimates


def test_a_close_done_again_changes_nothing(store: Store) -> None:
    thought = Estimate("B-07", 600.0, 25.0, 22.0, 1.5)
    weighed = Evidence("B-07", "c", 600.0, 3.5, -2.0, 4.0, 4.0, 9, 1.5, Reason.LOOK_AGAIN)
    for again in range(2):
        new = store.close_frame(
            600.0, 620.0 + again, again, again,
            events=[event(1)], messages=[delivery(1)], estimates=[(thought, weighed)],
        )  # fmt: skip
        assert new is (again == 0)
    assert store.last_frame().closed_s == 620.0
    assert store.events() == [event(1)]
    assert len(store.outbox()) == 1
    assert store.estimates(0.0, 600.0) == [(thought, weighed)]
    assert store.estimates(0.0, 600.0, "B-99") == []


def test_what_stands_is_the_sum_of_an_alarms_events(store: Store) -> None:
    store.add_events([
        event(1), event(2, Transition.ACKNOWLEDGED), event(3, Transition.SHELVED),
        event(1, alarm_id="a2", urgency=Urgency.NOW), event(2, Transition.UNSHELVED, "a2"),
        event(1, alarm_id="a3"), event(2, Transition.RETURNED, "a3"),
        event(3, Transition.ACKNOWLEDGED, "a3"),
        event(1, Transition.SUPPRESSED, "a4"),
        event(1, alarm_id="a5"), event(2, Transition.RETURNED, "a5"), event(3, alarm_id="a5"),
    ])  # fmt: skip
    standing = {one.raised.alarm_id: one for one in store.standing()}
    assert set(standing) == {"a1", "a2", "a4", "a5"}
    assert standing["a1"].acknowledged_by == "Mara" and standing["a1"].shelved
    assert not standing["a2"].shelved
    assert standing["a4"].suppressed
    assert store.counts().standing == 4
    assert [one.transition for one in store.alarm_history("a3")] == [
        Transition.RAISED, Transition.RETURNED, Transition.ACKNOWLEDGED,
    ]  # fmt: skip
    assert store.alarm_history("none") == []


def test_events_since_a_moment_are_the_newest_in_order(store: Store) -> None:
    store.add_events([event(number, alarm_id=f"a{number}") for number in range(10)])
    assert [one.at_s for one in store.events(1003.0, limit=3)] == [1007.0, 1008.0, 1009.0]


def test_two_checkpoints_are_kept_and_the_newest_is_loaded(store: Store) -> None:
    assert store.load_checkpoint() is None
    for end_s in (600.0, 1200.0, 1800.0, 1800.0):
        store.save_checkpoint(end_s, f"state {end_s}")
    assert [one.end_s for one in store.checkpoints()] == [1800.0, 1200.0]
    assert store.load_checkpoint().text == "state 1800.0"


def test_pruning_spares_what_is_needed_to_rebuild(store: Store) -> None:
    for frame in range(1, 5):
        store.add_batch([arrival(reading(value, frame * 600.0)) for value in range(10)])
        store.add_flags([(store.last_reading_id(), Flag.LATE)])
        store.close_frame(frame * 600.0, frame * 600.0, store.last_reading_id(), 0)
    assert store.prune(1e12) == 0  # nothing is saved yet
    store.save_checkpoint(1200.0, "older")
    store.save_checkpoint(1800.0, "newer")
    assert store.prune(600.0) == 10
    assert store.prune(1e12) == 10
    assert store.prune(1e12) == 0
    kinds = [item.kind for item in store.iter_log(1200.0)]
    assert kinds.count(LogKind.READING) == 20
    assert store.counts().readings == 20
    assert store.counts().flags == {"late": 2}


def test_a_backup_is_a_whole_store(store: Store, tmp_path: Path) -> None:
    store.add_batch([arrival(reading())])
    store.backup(tmp_path / "copy.db")
    assert (tmp_path / "copy.db").stat().st_mode & 0o777 == 0o600
    with pytest.raises(StoreError, match="name a new file"):
        store.backup(tmp_path / "copy.db")
    with Store.open(tmp_path / "copy.db", 0.0) as copy:
        assert log_of(copy) == log_of(store)


def test_notes_are_kept_in_order(store: Store) -> None:
    for number in range(5):
        store.add_note(number, "restart", f"n{number}")
    assert [one.detail for one in store.notes(2.0, limit=2)] == ["n3", "n4"]


def test_a_close_keeps_what_the_monitor_said_of_itself(store: Store) -> None:
    house = Condition(
        AlarmKind.HOUSE, "source bench", Urgency.TODAY, Reason.PORT_LOST, Facts(detail="bench")
    )
    store.close_frame(600.0, 601.0, 0, 0, house=(house,))
    assert store.last_frame() == FrameClose(600.0, 601.0, 0, 0, (house,))
    assert [item.body for item in store.iter_log()] == [store.last_frame()]


def test_the_broker_session_is_remembered_with_its_readings(store: Store) -> None:
    assert store.session("barn") == ""
    store.add_batch([replace(arrival(reading()), session="first")])
    store.add_batch([replace(arrival(reading()), session="second")])
    store.add_batch([arrival(reading())])
    assert store.session("barn") == "second"


# the codec


NUMBER = st.none() | st.floats(allow_nan=False, allow_infinity=False)


@given(
    text=st.text(), number=NUMBER, names=st.lists(st.text(), max_size=4).map(tuple),
    shelf=st.none() | st.integers(-(2**53), 2**53),
)  # fmt: skip
def test_facts_come_back_as_they_were(text, number, names, shelf) -> None:
    facts = Facts(bag=text, excess_k=number, next_slot=names, shelf=shelf, detail=text)
    assert codec.from_text(Facts, codec.to_text(facts)) == facts


def test_a_number_that_is_not_finite_is_written_as_absent() -> None:
    import numpy as np

    facts = Facts(excess_k=math.nan, core_c=float("inf"), air_c=np.float64(21.5), peers=np.int64(4))
    assert codec.from_text(Facts, codec.to_text(facts)) == Facts(air_c=21.5, peers=4)


def test_text_of_a_newer_bagwatt_is_a_clear_error() -> None:
    with pytest.raises(StoreError, match=r"a Facts: can't be read back.*upgrade bagwatt"):
        codec.from_text(Facts, '{"colour":"blue"}')
