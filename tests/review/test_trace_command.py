"""`bagwatt trace` on a real store: both causes named, in words and as JSON; loss and its cost."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.review.records import HEALTHY, UNKNOWN, after_entry, bag_records
from monitor.review.trace import Trace
from monitor.review.trace_words import one_in, trace_lines
from monitor.store import Store, open_reader
from monitor.values import BookEntry, Record
from tests.review.season import BAD_CORNER, BAD_LOAD_SESSION, DAY_S, FIRST_S, bad_jar, load, season
from tests.review.storing import settings_folder, store_season

NOW_S = FIRST_S + 170 * DAY_S


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A settings folder whose store holds the season of seed 1, two sisters still standing."""
    folder = settings_folder(tmp_path_factory.mktemp("farm"))
    records = season(1)
    sisters = [one for one in records if one.spawn_lot == bad_jar() and one.outcome == HEALTHY]
    standing = {one.bag for one in sisters}
    records = [
        replace(one, outcome=UNKNOWN, outcome_s=None, standing=True) if one.bag in standing else one
        for one in records
    ]
    store_season(folder, records, NOW_S)
    return folder


def test_trace_names_jar_and_corner_and_proposes_a_hold(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Plain words with counts, chance, odds, sisters and the command that holds the jar."""
    assert main(["trace", "--config", str(farm)]) == Exit.FOUND
    said = capsys.readouterr().out
    assert f"7 of 8 bags of spawn lot {bad_jar()} lost against 24 of 592 others" in said
    assert f"part of load {load(BAD_LOAD_SESSION)}, {BAD_CORNER}" in said
    assert f"bagwatt lot hold {bad_jar()}" in said
    assert "still standing: AM3-" in said
    assert "risk of each" in said


def test_trace_as_json_says_the_same(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """For a script; the order of inoculation is what the jar can't be told from."""
    assert main(["trace", "--config", str(farm), "--json"]) == Exit.FOUND
    found = json.loads(capsys.readouterr().out)
    first = next(one for one in found["findings"] if one["level"] == bad_jar())
    assert (first["lost_in"], first["sound_in"], first["lost_out"]) == (7, 1, 24)
    assert first["not_told_from"][0][0] == "order of inoculation"
    assert first["risk"]["low"] < first["risk"]["mean"] < first["risk"]["high"]


def test_trace_of_no_bag_says_so_and_of_a_stranger_is_refused(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A time without bags, and a code that is in no book."""
    assert main(["trace", "--config", str(farm), "--since", "1 d"]) == Exit.DONE
    assert "nothing to compare" in capsys.readouterr().out
    assert main(["trace", "--config", str(farm), "ZZ-1"]) == Exit.UNUSABLE
    assert "ZZ-1: no such bag in the book" in capsys.readouterr().err


def test_bags_for_a_trace_are_named_as_in_the_book_and_told_where_they_are_too_old(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In small letters too, and one that stands before --since is no stranger."""
    first = min(season(1), key=lambda one: one.inoculated_s).bag
    words = ["trace", "--config", str(farm), first.lower()]
    assert main([*words, "--since", "400 d", "--json"]) == Exit.DONE
    assert json.loads(capsys.readouterr().out)["lost"] == [first]
    assert main([*words, "--since", "1 d"]) == Exit.UNUSABLE
    told = f"{first}: was inoculated before the time looked at; give a longer --since"
    assert told in capsys.readouterr().err


def test_bags_that_were_named_are_not_said_to_be_lost_by_the_book(
    farm: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second, *_ = sorted(one.bag for one in season(1))
    main(["trace", "--config", str(farm), first, second, "--since", "400 d"])
    assert "2 of 600 bags taken for lost, as you name them; " in capsys.readouterr().out


def test_one_bag_and_one_group_are_told_as_one() -> None:
    found = Trace(1, ("A1",), 1, ())
    assert trace_lines(found)[0] == "1 of 1 bag lost or alarmed; 1 group of bags looked at"


def test_loss_tells_rates_cost_and_changes(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """31 bags at 18 pounds; supplier and season were asked about."""
    assert main(["trace", "--config", str(farm), "--loss"]) in (Exit.DONE, Exit.FOUND)
    said = capsys.readouterr().out
    assert "31 of 600, 5.2 %" in said
    assert "cost at £18 a bag: £558" in said
    assert "Low Wood" in said
    assert main(["trace", "--config", str(farm), "--loss", "--json"]) in (Exit.DONE, Exit.FOUND)
    found = json.loads(capsys.readouterr().out)
    assert found["cost"] == 558
    assert {one["question"] for one in found["changes"]} == {"season", "supplier"}


def test_records_follow_lot_lineage_and_what_was_struck_out(tmp_path: Path) -> None:
    """Jar of a lot of a master; a pull that was taken back does not count."""
    records = season(1)[:8]
    folder = settings_folder(tmp_path)
    store_season(folder, records, NOW_S)
    with Store.open(folder / "bagwatt.db", NOW_S) as store:
        with store.act(NOW_S, "Ida", "records") as pen:
            pen.put(Record("lot", records[0].spawn_lot, {"parent": "G1-M/J2"}), NOW_S)
            pen.put(Record("lot", "G1-M", {"supplier": "Low Wood"}), NOW_S)
        with store.act(NOW_S, "Ida", "pulled") as pen:
            pen.enter(BookEntry(NOW_S, records[0].bag, "pulled", "surely yeast"))
        act = store.last_act()
        assert act is not None
        before = {one.bag: one for one in bag_records(store)}
        store.undo(act, NOW_S + 60, "Ida")
    with open_reader(folder / "bagwatt.db") as reader:
        after = {one.bag: one for one in bag_records(reader)}
    assert before[records[0].bag].spawn_parents == ("G1-M/J2", "G1-M")
    assert before[records[0].bag].supplier == "Ash Mill"  # the bag's own word goes first
    assert before[records[0].bag].lost
    assert not after[records[0].bag].lost


def test_a_bag_that_came_back_stands_again() -> None:
    """Returned after a pull: nothing is known of it any more."""
    bag = replace(season(1)[0], outcome=UNKNOWN, outcome_s=None, standing=True)
    pulled = after_entry(bag, BookEntry(5.0, bag.bag, "pulled", "maybe yeast"))
    assert (pulled.outcome, pulled.standing) == ("contaminated maybe", False)
    back = after_entry(pulled, BookEntry(9.0, bag.bag, "returned"))
    assert (back.outcome, back.standing) == (UNKNOWN, True)


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.5, "better than 1 in 3"), (0.2, "1 in 5"), (1 / 43210, "1 in 40,000"), (1e-30, "under 1")],
)
def test_chances_are_rounded_towards_the_less_surprising(chance: float, words: str) -> None:
    """No more is claimed than was found."""
    assert one_in(chance).startswith(words)
