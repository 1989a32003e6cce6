"""What a spare store brings back to the card's: each thing once, whatever happened meanwhile."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.store import Store, spare, spare_path
from monitor.store.deliveries import DELIVERED
from monitor.store.spare import MOST_BYTES, Seed, TakenBack, take_back
from monitor.store.spare_place import Place
from monitor.values import AlarmCommand, Flag, Probe, Refusal, Refused
from tests.store.samples import arrival, delivery, reading

NOW_S = 2000.0


@pytest.fixture
def card(tmp_path: Path) -> Iterator[Store]:
    """The card's store: two readings, a closed frame, a command and a message that waits."""
    with Store.open(tmp_path / "card.db", 0.0) as store:
        store.add_batch([arrival(reading(20.0), dedup="d1"), arrival(reading(21.0), dedup="d2")])
        command = store.add_command(AlarmCommand(900.0, "acknowledge", "a0"))
        store.close_frame(1200.0, 1210.0, store.last_reading_id(), command)
        store.add_events([], [delivery(1)])
        yield store


def begun(card: Store, folder: Path) -> Store:
    """A spare for the run as it stands on the card."""
    journal_id = max(row.id for row in card.journal_after(0))
    seed = Seed(card.last_frame(), "{}", card.last_reading_id(), journal_id, (), ())
    return spare.begin(Place(folder / "spare.db", lasting=True), card, seed, NOW_S)


def values(store: Store) -> list[float]:
    return [one.value for _, one in store.readings_after(0, 10**6)]


def test_a_merge_that_was_cut_off_before_its_spare_was_deleted_adds_nothing_twice(
    card: Store, tmp_path: Path
) -> None:
    wrong = Refused("barn", Refusal.NOT_A_NUMBER, "words", b"x", 1000.0)
    with begun(card, tmp_path) as one:
        one.add_batch([arrival(reading(22.0), dedup="d3"), arrival(refused=(wrong,))])
        one.add_note(NOW_S, "clock", "stepped")
        path = one.path
    shutil.copy(path, tmp_path / "again.db")
    assert take_back(card, path, NOW_S).readings == 1
    assert not path.exists()
    notes, refused = len(card.notes()), len(card.quarantined())
    (tmp_path / "again.db").rename(path)
    assert take_back(card, path, NOW_S) == TakenBack()
    assert values(card) == [20.0, 21.0, 22.0]
    assert (len(card.notes()), len(card.quarantined())) == (notes, refused) == (notes, 1)


def test_a_reading_whose_commit_reached_the_card_though_it_was_answered_by_an_error_is_one(
    card: Store, tmp_path: Path
) -> None:
    with begun(card, tmp_path) as one:
        card.add_batch([arrival(reading(22.0))])
        one.add_batch([arrival(reading(22.0)), arrival(reading(23.0))])
        path = one.path
    take_back(card, path, NOW_S)
    assert values(card) == [20.0, 21.0, 22.0, 23.0]


def test_refusals_are_added_up_and_the_brokers_repeats_are_known(
    card: Store, tmp_path: Path
) -> None:
    wrong = Refused("barn", Refusal.NOT_A_NUMBER, "words", b"x", 1000.0)
    card.add_batch([arrival(refused=(wrong,))])
    with begun(card, tmp_path) as one:
        one.add_batch([arrival(refused=(wrong,)), arrival(refused=(wrong,))])
        one.add_batch([arrival(reading(22.0), dedup="d3")])
        path = one.path
    take_back(card, path, NOW_S)
    assert sum(card.counts().refused.values()) == 3
    assert card.add_batch([arrival(reading(22.0), dedup="d3")]) == [[]]
    assert card.add_batch([arrival(reading(20.0), dedup="d1")]) == [[]]


def test_a_message_that_left_from_the_card_stays_delivered(card: Store, tmp_path: Path) -> None:
    """And one that left from the spare is delivered on the card too."""
    card.add_events([], [delivery(2)])
    with begun(card, tmp_path) as one:
        one.settle(["m2:Mara"], DELIVERED, "", NOW_S)
        path = one.path
    card.settle(["m1:Mara"], DELIVERED, "", NOW_S)
    take_back(card, path, NOW_S)
    states = {row.delivery.message.message_id: row.delivery.state for row in card.outbox()}
    assert states == {"m1:Mara": DELIVERED, "m2:Mara": DELIVERED}


def test_what_others_wrote_on_the_card_lies_behind_the_spares_log_and_is_guarded_again(
    card: Store, tmp_path: Path
) -> None:
    with begun(card, tmp_path) as one:
        card.add_command(AlarmCommand(1500.0, "shelve", "by another"))
        one.add_command(AlarmCommand(1400.0, "acknowledge", "by the run"))
        path = one.path
    others = take_back(card, path, NOW_S).others
    told = [row.body.alarm_id for row in card.journal_after(0)]  # type: ignore[union-attr]
    assert told == ["a0", "by the run", "by another"]
    assert [row.body.alarm_id for row in others] == ["by another"]  # type: ignore[union-attr]
    for statement in ("DELETE FROM journal", "UPDATE journal SET at_s = 0"):
        with pytest.raises(sqlite3.DatabaseError, match="journal"):
            card.connection.execute(statement)


def test_a_spare_in_memory_takes_no_more_than_its_share_and_one_on_a_medium_what_it_needs(
    tmp_path: Path,
) -> None:
    def most_bytes(name: str, lasting: bool) -> int:
        with spare.open_spare(Place(tmp_path / name, lasting), NOW_S) as one:
            ask = one.connection.execute
            pages = ask("PRAGMA max_page_count").fetchone()[0]
            return int(pages * ask("PRAGMA page_size").fetchone()[0])

    assert most_bytes("memory.db", lasting=False) <= MOST_BYTES
    assert most_bytes("medium.db", lasting=True) > 100 * MOST_BYTES


def test_a_spare_goes_into_no_folder_that_others_may_enter_or_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    ours = tmp_path / f"bagwatt-{os.getuid()}"

    def lies_there() -> bool:
        found = spare_path(tmp_path / "bagwatt.db")
        return found is not None and found.parent == ours

    assert lies_there()
    ours.chmod(0o750)
    assert not lies_there()
    ours.chmod(0o700)
    if os.getuid() == 0:
        os.chown(ours, 12345, 12345)
        assert not lies_there()
        os.chown(ours, 0, 0)
    ours.rmdir()
    ours.symlink_to(tmp_path / "elsewhere")
    assert not lies_there()


def test_what_the_run_wrote_keeps_its_place_though_others_wrote_readings_meanwhile(
    card: Store, tmp_path: Path
) -> None:
    """A walk wrote one on the card: the spare's readings come behind it under other ids."""
    with begun(card, tmp_path) as one:
        card.add_batch([arrival(reading(50.0))])
        (one_id,) = one.add_batch([arrival(reading(22.0))])[0]
        one.add_flags([(one_id, Flag.RATE)])
        one.add_command(AlarmCommand(1300.0, "acknowledge", "between"))
        one.add_batch([arrival(reading(23.0))])
        last_id = max(row.id for row in one.journal_after(0))
        one.close_frame(1800.0, 1810.0, one.last_reading_id(), last_id)
        one.save_checkpoint(1800.0, '{"of": "the spare"}')
        path = one.path
    taken = take_back(card, path, NOW_S)
    assert (taken.readings, taken.reading_shift) == (2, 1)
    assert [row.body.value for row in taken.others] == [50.0]  # type: ignore[union-attr]
    ids = {one.value: number for number, one in card.readings_after(0, 10**6)}
    assert card.flags_of(ids[22.0]) == (Flag.RATE,) and card.flags_of(ids[50.0]) == ()
    newest = card.last_frame()
    assert newest is not None and newest.last_reading_id == ids[23.0]
    told = [
        row.body.alarm_id if isinstance(row.body, AlarmCommand) else getattr(row.body, "value", "")
        for row in card.iter_log()
    ]
    assert told.index(22.0) < told.index("between") < told.index(23.0)
    kept = card.load_checkpoint()
    assert kept is not None and (kept.end_s, kept.text) == (1800.0, '{"of": "the spare"}')


def test_a_reading_that_both_have_is_told_to_nobody_as_anothers(
    card: Store, tmp_path: Path
) -> None:
    with begun(card, tmp_path) as one:
        card.add_batch([arrival(reading(22.0))])
        one.add_batch([arrival(reading(22.0))])
        path = one.path
    assert take_back(card, path, NOW_S).others == ()


def test_what_the_watch_itself_wrote_into_the_book_stays_an_act(
    card: Store, tmp_path: Path
) -> None:
    """Else the room's folder takes it for its own, and out of the book when it does not name it."""
    probe = Probe("k9", "", "R1", 1)
    with card.act(950.0, "Mara", "probe hang k9") as pen:
        pen.put(probe, 950.0)
    with begun(card, tmp_path) as one:
        with card.act(NOW_S, "Mara", "written by another process meanwhile") as pen:
            pen.put(Probe("k8", "", "R1", 2), NOW_S)
        with one.act(NOW_S, "bagwatt", "offsets from the settings") as pen:
            pen.put(replace(probe, offset_k=0.5), NOW_S)
        path = one.path
    take_back(card, path, NOW_S)
    assert {name: one.act and one.act.by for name, one in card.current("probe").items()} == {
        "k8": "Mara", "k9": "bagwatt",
    }  # fmt: skip
    card.add_book(NOW_S, [], [])
    assert card.book()[1]["k9"].offset_k == 0.5


def test_a_picture_goes_on_with_its_message_on_a_new_card(card: Store, tmp_path: Path) -> None:
    one = delivery(2)
    picture = replace(one, message=replace(one.message, attachment="/pictures/night.png"))
    card.add_events([], [picture])
    with begun(card, tmp_path) as kept:
        path = kept.path
    with Store.open(tmp_path / "new.db", NOW_S) as new:
        take_back(new, path, NOW_S)
        assert [row.delivery.message.attachment for row in new.outbox()][
            -1
        ] == "/pictures/night.png"
