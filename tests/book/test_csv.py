"""CSV both ways, and two people with the same file."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.book.farm import Farm


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def rewrite(path: Path, rows: list[dict[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def test_bags_go_out_and_come_in_again_unchanged(farm: Farm, tmp_path: Path) -> None:
    """What was not changed is not written anew."""
    out = tmp_path / "bags.csv"
    assert farm.say("book", "export", "bag", str(out)) == 0
    assert len(rows_of(out)) == 40
    before = farm.rows()
    assert farm.say("book", "import", "bag", str(out)) == 0
    assert farm.rows() == before


def test_an_empty_cell_of_a_column_that_other_bags_use_changes_nothing(
    farm: Farm, tmp_path: Path
) -> None:
    """Bags without a jar beside bags with one: the file has the column for all of them."""
    assert farm.say("batch", "add", "QL-0310", "GO12-057", "--strain", "GO-12", "--mass", "2") == 0
    out = tmp_path / "bags.csv"
    assert farm.say("book", "export", "bag", str(out)) == 0
    before = farm.rows()
    assert farm.say("book", "import", "bag", str(out)) == 0
    assert farm.rows() == before


def test_a_changed_row_is_taken_as_a_correction(farm: Farm, tmp_path: Path) -> None:
    out = tmp_path / "bags.csv"
    assert farm.say("book", "export", "bag", str(out)) == 0
    rows = rows_of(out)
    rows[0]["recipe"] = "oak 80"
    rewrite(out, rows)
    assert farm.say("book", "import", "bag", str(out)) == 0
    with farm.read() as store:
        assert store.book()[0]["GO12-017"].recipe == "oak 80"
        assert len(store.history("bag", "GO12-018")) == 1


def test_of_two_who_changed_the_same_export_the_second_is_told(
    farm: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine, theirs = tmp_path / "mine.csv", tmp_path / "theirs.csv"
    for path, recipe in ((mine, "oak"), (theirs, "beech")):
        assert farm.say("book", "export", "bag", str(path)) == 0
        rows = rows_of(path)
        rows[0]["recipe"] = recipe
        rewrite(path, rows)
    assert farm.say("book", "import", "bag", str(mine), by="Ada") == 0
    before = farm.rows()
    assert farm.say("book", "import", "bag", str(theirs)) == 2
    assert "changed since that file was written, entered by Ada" in capsys.readouterr().err
    assert farm.rows() == before


def test_records_and_events_go_both_ways(farm: Farm, tmp_path: Path) -> None:
    """Out of one farm, into another."""
    assert farm.say("lot", "add", "GO12-G1", "strain=GO-12", "supplier=Cooper spawn") == 0
    words = ("--run", "60", "--smell", "sour", "--at", "2026-03-12T08:00")
    assert farm.say("bag", "inspected", "17", *words) == 0
    assert farm.say("bag", "pulled", "18", "--cause", "wet spot", "--surely") == 0
    for kind in ("lot", "event"):
        assert farm.say("book", "export", kind, str(tmp_path / f"{kind}.csv")) == 0
    lots = {row["name"]: row for row in rows_of(tmp_path / "lot.csv")}
    assert lots["GO12-G1"]["supplier"] == "Cooper spawn" and lots["GO12-G1"]["by"] == "Kim"
    with farm.read() as store:
        entered = [one.entry for one in store.entries()]
    assert farm.say("book", "undo") == 0
    assert farm.say("book", "undo") == 0
    assert farm.say("book", "import", "event", str(tmp_path / "event.csv")) == 0
    with farm.read() as store:
        again = [one.entry for one in store.entries() if not one.struck]
    assert [one for one in again if not one.detail.startswith("undo")] == entered
    before = farm.rows()
    assert farm.say("book", "import", "lot", str(tmp_path / "lot.csv")) == 0
    assert farm.rows() == before


@pytest.mark.parametrize(
    ("kind", "text", "told"),
    [
        ("event", "time,bag,event\n2026-03-12,GO12-071,shaken\n", "did you mean GO12-017?"),
        ("event", "time,bag,event\n2026-03-12,17,shakn\n", "did you mean shaken?"),
        ("event", "time,bag,event\n2026-03-01,17,shaken\n", "before its inoculation"),
        ("event", "time,bag\n2026-03-01,17\n", "column event is missing"),
        ("event", "time,bag,event,cause\n2026-03-12,17,pulled,\n", "pulled: cause is missing; say"),
        ("event", "time,bag,event,run\n2026-03-12,17,inspected,160\n", "2: run 160: can't be"),
        ("lot", "nme,parent\nX,\n", "did you mean name?"),
        ("lot", "name,parnt\nX,y\n", "did you mean parent?"),
        ("load", "name,made\nL9,soon\n", "is no time"),
    ],
)
def test_a_bad_file_is_refused_whole(
    farm: Farm,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    kind: str,
    text: str,
    told: str,
) -> None:
    before = farm.rows()
    (tmp_path / "in.csv").write_text(text, encoding="utf-8")
    assert farm.say("book", "import", kind, str(tmp_path / "in.csv")) == 2
    assert told in capsys.readouterr().err
    assert farm.rows() == before


def test_a_file_that_is_there_is_not_written_over(
    farm: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bags.csv").write_text("mine", encoding="utf-8")
    assert farm.say("book", "export", "bag", str(tmp_path / "bags.csv")) == 2
    assert "name a new file" in capsys.readouterr().err
    assert (tmp_path / "bags.csv").read_text(encoding="utf-8") == "mine"
