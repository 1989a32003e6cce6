"""The room as the page draws it."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.page import Latest
from monitor.page.room import look_at_room
from tests.book.farm import Farm


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
