"""The room as the page draws it."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.page import Latest
from monitor.page.room import heads, look_at_room
from monitor.values import Bag
from tests.book.farm import Farm


@pytest.mark.parametrize(
    ("codes", "labels"),
    [
        (["GO12-017", "GO12-056"], ["017", "056"]),
        (["GO12-017"], ["017"]),
        (["GO12-017", "SH7-001"], ["GO12-017", "SH7-001"]),
    ],
)
def test_a_tile_shows_what_tells_its_bag_from_others(
    tmp_path: Path, codes: list[str], labels: list[str]
) -> None:
    """What begins all codes of a strain is left out, of a bag that stands alone too."""
    farm = Farm(tmp_path)
    assert farm.say("batch", "add", "Q1", *codes, "--strain", "GO-12", "--mass", "2.3") == 0
    with farm.read() as store:
        tiles = look_at_room(store, Latest()).racks[0].shelves[0].tiles
    assert [one.bag.bag.removeprefix(one.lead) for one in tiles if one.bag] == labels


@pytest.mark.parametrize("codes", [["A", "A1"], ["A"], ["7"]])
def test_no_tile_is_without_a_name(codes: list[str]) -> None:
    bags = [Bag(code, "Q1", "GO-12", "", 0.0, 2.3, "", None, None) for code in codes]
    assert all(bag.bag.removeprefix(heads(bags)[bag.bag]) for bag in bags)


def test_racks_stand_in_the_order_of_the_walk(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """R2 before R10, and what has no rack last: on the page, in the list and on the walk."""
    farm = Farm(tmp_path)
    words = ("--strain", "GO-12", "--mass", "2.3")
    for code, *place in (("GO12-010", "--racking", "R10/1/1"), ("GO12-001",),
                         ("GO12-002", "--racking", "R2/1/1")):  # fmt: skip
        assert farm.say("batch", "add", "Q1", code, *words, *place) == 0
    with farm.read() as store:
        racks = look_at_room(store, Latest()).racks
    assert [rack.name for rack in racks] == ["R2", "R10", ""]
    capsys.readouterr()
    assert farm.say("bag", "list") == 0
    rows = capsys.readouterr().out.splitlines()[1:]
    assert [row.split()[0] for row in rows] == ["GO12-002", "GO12-010", "GO12-001"]
