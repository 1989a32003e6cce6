"""The room's folder and the commands beside each other: the newest change wins, nothing is lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.book.desk import Desk
from monitor.book.places import Place
from monitor.errors import BookError
from monitor.settings.load import load_settings
from monitor.store import Store
from monitor.values import Bag, Probe
from tests.book.farm import Farm

NOW_S = 1_773_000_000.0


def bag(code: str, slot: int, rack: str = "R1") -> Bag:
    return Bag(code, "Q", "GO-12", "L1", NOW_S - 86400.0, 2.3, rack, 1, slot)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """The folder has said two bags and a probe."""
    farm = Farm(tmp_path)
    store = Store.open(farm.db, NOW_S)
    store.add_book(NOW_S, [bag("GO12-001", 1), bag("GO12-002", 2)], [Probe("air", "", "R1", 1)])
    return Desk(store, load_settings(tmp_path, {}), "Kim", NOW_S)


def said_again(desk: Desk, *bags: Bag) -> dict[str, Bag]:
    desk.store.add_book(NOW_S + 60, bags, [Probe("air", "", "R1", 1)])
    return desk.store.book()[0]


def test_an_unchanged_folder_does_not_take_back_a_command(desk: Desk) -> None:
    """The daemon reads the folder anew at every start."""
    desk.move(["GO12-001"], [Place("R5", 1, 1)], NOW_S)
    assert said_again(desk, bag("GO12-001", 1), bag("GO12-002", 2))["GO12-001"].rack == "R5"


def test_a_changed_row_of_the_folder_is_the_newest_word(desk: Desk) -> None:
    desk.move(["GO12-001"], [Place("R5", 1, 1)], NOW_S)
    assert said_again(desk, bag("GO12-001", 7), bag("GO12-002", 2))["GO12-001"].slot == 7


def test_the_folder_takes_away_only_what_it_alone_has_said(desk: Desk) -> None:
    """Neither what a command entered nor what a command changed leaves with its row."""
    desk.add_bags([bag("GO12-003", 3)], "batch add")
    desk.move(["GO12-001"], [Place("R5", 1, 1)], NOW_S)
    assert set(said_again(desk)) == {"GO12-001", "GO12-003"}


def test_a_bag_of_the_folder_is_not_entered_twice(desk: Desk) -> None:
    with pytest.raises(BookError, match="from the room's folder"):
        desk.add_bags([bag("GO12-002", 9)], "batch add")
