"""`bagwatt batch add`: forty bags in one line or from a file, all of them or none."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.values import Bag
from tests.book.farm import Farm

GOOD = ("GO12-057", "--strain", "GO-12", "--mass", "2.3", "--inoculated", "2026-03-09")
HEADER = "bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe\n"


def test_a_line_makes_forty_bags_with_lot_jar_load_and_place(farm: Farm) -> None:
    with farm.read() as store:
        bags, _ = store.book()
    first, last = bags["GO12-017"], bags["GO12-056"]
    assert len(bags) == 40
    assert (first.spawn_lot, first.extra["jar"], last.extra["jar"]) == ("GO12-G2-0226", "J4", "J5")
    assert (first.load, first.extra["load_position"]) == ("L31", "lower back")
    assert (last.rack, last.shelf, last.slot, last.sequence) == ("R1", 5, 8, 40)
    assert last.inoculated_s - first.inoculated_s == 39 * 40
    assert first.cohort == last.cohort


def test_what_a_batch_names_comes_into_the_book_with_it(farm: Farm) -> None:
    with farm.read() as store:
        assert set(store.current("lot")) == {
            "GO12-G2-0226", "GO12-G2-0226/J4", "GO12-G2-0226/J5",
        }  # fmt: skip
        assert set(store.current("load")) == {"L31"}
        (act,) = {version.act for version in store.current("bag").values()}
    assert act is not None and act.by == "Kim"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("GO12-017", *GOOD[1:]), "in the book already, entered by Kim"),
        (("GO12-57", *GOOD[1:]), "pattern"),
        (("GO12-057", "--strain", "GO12", "--mass", "2.3"), "did you mean GO-12?"),
        (("GO12-057", "--strain", "GO-12", "--mass", "23"), "did you mean 2.3?"),
        (("GO12-057", "--strain", "GO-12", "--mass", "2300"), "did you mean 2.3?"),
        (("GO12-057", "--strain", "GO-12"), "--mass: is missing"),
        ((*GOOD, "--racking", "R1/1/1..1"), "R1/1/1 holds GO12-017"),
        ((*GOOD[:-1], "2031-03-09"), "days ahead"),
        ((*GOOD[:-1], "yesterday"), "is no time"),
        ((*GOOD, "--lot", "J4:2"), "only 1 bag is left"),
        (("GO12-{060..057}", *GOOD[1:]), "backward"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(
    farm: Farm, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    """Exit code 2, a suggestion, not one row more."""
    before = farm.rows()
    assert farm.say("batch", "add", "QL-0310", *words) == 2
    assert told in capsys.readouterr().err
    assert farm.rows() == before


def test_an_unusual_mass_passes_when_it_is_sure(farm: Farm) -> None:
    words = ("GO12-057", "--strain", "GO-12", "--mass", "16", "--sure")
    assert farm.say("batch", "add", "QL-0310", *words) == 0


def test_a_file_comes_in_with_its_probes(farm: Farm, tmp_path: Path) -> None:
    """The form is that of bags.csv; the probe gets its offset from the settings."""
    rows = "GO12-101,QL-0310,GO-12,L,2026-03-09T10:00:00Z,2.3,R2,1,1,p-b017\n"
    (tmp_path / "new.csv").write_text(HEADER + rows, encoding="utf-8")
    assert farm.say("batch", "add", "--csv", str(tmp_path / "new.csv")) == 0
    with farm.read() as store:
        bags, probes = store.book()
    assert bags["GO12-101"].probe == "p-b017"
    assert (probes["p-b017"].bag, probes["p-b017"].offset_k) == ("GO12-101", 0.2)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("bag,batch,straln,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe\nA\n", "strain"),
        (HEADER + "GO12-101,Q,GO-12,L,2026-03-09T10:00:00Z,23,R2,1,1,\n", "did you mean 2.3"),
        (HEADER + "GO12-101,Q,GO-12,L,never,2.3,R2,1,1,\n", "line 2"),
        (HEADER + "GO12-101,Q,GO-12,L,2026-03-09,2.3,R2,1,1\n", "wrong number of fields"),
        (
            HEADER
            + "GO12-101,Q,GO-12,L,2026-03-09,2.3,R2,1,1,\n"
            + "GO12-102,Q,GO-12,L,2026-03-09,2.3,R2,1,1,\n",
            "R2/1/1 holds GO12-101",
        ),
        (
            HEADER
            + "GO12-101,Q,GO-12,L,2026-03-09,2.3,R2,1,1,p1\n"
            + "GO12-102,Q,GO-12,L,2026-03-09,2.3,R2,1,2,p1\n",
            "a probe hangs on one",
        ),
        (HEADER, "has no rows"),
        ("", "missing"),
    ],
)
def test_a_bad_file_is_refused_whole(
    farm: Farm, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, told: str
) -> None:
    before = farm.rows()
    (tmp_path / "new.csv").write_text(text, encoding="utf-8")
    assert farm.say("batch", "add", "--csv", str(tmp_path / "new.csv")) == 2
    assert told in capsys.readouterr().err
    assert farm.rows() == before


def test_list_counts_what_stands(farm: Farm, capsys: pytest.CaptureFixture[str]) -> None:
    assert farm.say("bag", "pulled", "17", "--cause", "yeast") == 0
    capsys.readouterr()
    assert farm.say("batch", "list") == 0
    assert "39 of 40" in capsys.readouterr().out


def test_the_journal_refuses_to_be_changed(farm: Farm) -> None:
    """Nothing is overwritten: the store itself sees to it."""
    import sqlite3

    with sqlite3.connect(farm.db) as connection:
        for statement in ("UPDATE journal SET name = 'x'", "DELETE FROM journal"):
            with pytest.raises(sqlite3.IntegrityError, match="only added to"):
                connection.execute(statement)
    with farm.read() as store:
        assert isinstance(store.current("bag")["GO12-017"].now, Bag)
