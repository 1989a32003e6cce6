"""`bagwatt bag`, `lot` and `book`: events, places, probes, lineage, holds, undo."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import pytest

from monitor.cli import main
from monitor.clock import SystemClock
from monitor.review.outcomes import End, endings
from monitor.review.records import CONTAMINATED_SURELY, bag_records
from monitor.terms import DAY_S
from monitor.values import Bag
from tests.book.farm import Farm


def show(farm: Farm, capsys: pytest.CaptureFixture[str], code: str) -> dict[str, Any]:
    capsys.readouterr()
    assert farm.say("bag", "show", code, "--json") == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_an_event_keeps_its_facts_and_who_wrote_it(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--run", "60", "--smell", "sour", "--look", "wet spots", "--words", "low corner")
    assert farm.say("bag", "inspected", "17", *words, by="Ada") == 0
    (event,) = show(farm, capsys, "17")["events"]
    assert event["facts"] == {
        "run": "60", "smell": "sour", "look": "wet spots", "words": "low corner",
    }  # fmt: skip
    assert event["detail"] == "run 60 %; smell sour; look wet spots; low corner"
    assert event["by"] == "Ada"


def test_what_was_picked_is_told_with_its_unit_once(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.say("bag", "yield", "17", "--kg", "0.4", "--flush", "1") == 0
    assert "GO12-017: yield (flush 1; 0.4 kg)" in capsys.readouterr().out


def test_a_pulled_bag_says_how_sure_and_how_to_carry_it(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.say("bag", "pulled", "17", "--cause", "yeast", "--surely") == 0
    assert "do not open it indoors" in capsys.readouterr().out
    shown = show(farm, capsys, "17")
    assert shown["gone"] and shown["events"][0]["detail"] == "surely yeast"


def test_bags_that_are_not_meant_stand_in_no_range(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    """A bag's sisters are not it; of bags here and there each is named."""
    capsys.readouterr()
    assert farm.say("bag", "show", "19") == 0
    told = "standing: GO12-017 to GO12-018, GO12-020 to GO12-056 (39 bags)"
    assert told in capsys.readouterr().out
    assert farm.say("bag", "shaken", "18", "22", "30", "41", "50", "51") == 0
    told = "GO12-018, GO12-022, GO12-030, GO12-041 and 2 more (6 bags): shaken"
    assert told in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("show", "GO12-071"), "did you mean GO12-017?"),
        (("shaken", "GO12-999"), "no such bag"),
        (("move", "17", "R1/1/2"), "R1/1/2 holds GO12-018"),
        (("move", "17"), "codes and places in turn"),
        (("move", "17", "R1-1-2"), "is no place"),
        (("move", "17", "R9/40/2"), "shelf 40"),
        (("shaken", "17", "--at", "2026-03-01"), "before its inoculation"),
        (("shaken", "17", "--at", "2036-03-01"), "a time to come"),
        (("pulled", "17"), "--cause is missing"),
        (("yield", "17"), "say --kg, a number from 0.001 to 20 kg"),
        (("pulled", "17", "--cause", "yaest"), "did you mean yeast?"),
        (("inspected", "17", "--run", "130"), "0 to 100"),
        (("returned", "17"), "in the room already"),
        (("probe-off", "17"), "has no probe"),
        (("correct", "17", "mas_kg=2.2"), "did you mean mass_kg?"),
        (("correct", "17", "mass_kg=22"), "did you mean 2.2?"),
        (("correct", "17", "inoculated=2031-01-01"), "days ahead"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(
    farm: Farm, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    before = farm.rows()
    assert farm.say("bag", *words) == 2
    assert told in capsys.readouterr().err
    assert farm.rows() == before


def test_a_probe_hangs_on_one_bag_and_goes_where_the_bag_goes(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.say("bag", "probe-on", "17", "p-b017") == 0
    assert farm.say("bag", "probe-on", "18", "p-b017") == 2
    assert "hangs on GO12-017 already" in capsys.readouterr().err
    assert farm.say("bag", "move", "17", "R4/2/3") == 0
    with farm.read() as store:
        probe = store.book()[1]["p-b017"]
    assert (probe.bag, probe.rack, probe.shelf, probe.offset_k) == ("GO12-017", "R4", 2, 0.2)
    assert farm.say("bag", "probe-off", "17") == 0
    assert farm.say("bag", "probe-on", "18", "p-b017") == 0
    with farm.read() as store:
        bags, probes = store.book()
        hung = [one.now for one in store.history("probe", "p-b017")]
    assert (bags["GO12-017"].probe, probes["p-b017"].bag) == ("", "GO12-018")
    assert len(hung) == 4  # on, moved, off, on: the whole story is kept


def test_places_over_time_are_kept(farm: Farm, capsys: pytest.CaptureFixture[str]) -> None:
    assert farm.say("bag", "move", "17", "R3/1/1") == 0
    assert farm.say("bag", "move", "17", "R3/2/1", by="Ada") == 0
    places = [(one["place"], one["by"]) for one in show(farm, capsys, "17")["places"]]
    assert places == [("R1/1/1", "Kim"), ("R3/1/1", "Kim"), ("R3/2/1", "Ada")]


def test_a_slot_is_free_once_its_bag_was_pulled_and_taken_when_it_returns(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.say("bag", "isolated", "17") == 0
    assert farm.say("bag", "move", "20", "R1/1/1") == 0
    assert farm.say("bag", "returned", "17") == 2
    assert "R1/1/1 holds GO12-020" in capsys.readouterr().err


def test_lineage_goes_both_ways_over_hybrid_culture_and_grain(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    for words in (
        ("book", "add", "strain", "HX-5", "parents=GO-12;SH-7"),
        ("book", "add", "culture", "C-HX5-T2", "strain=HX-5", "transfer=2", "on=plate"),
        ("lot", "add", "HX5-G1", "strain=HX-5", "generation=G1", "culture=C-HX5-T2"),
        ("lot", "add", "HX5-G2", "generation=G2", "parent=HX5-G1", "made=2026-03-01"),
        ("batch", "add", "QL-2", "SH7-001", "--strain", "HX-5", "--mass", "2.3", "--lot",
         "HX5-G2/J1", "--inoculated", "2026-03-09"),
    ):  # fmt: skip
        assert farm.say(*words) == 0
    names = [one["name"] for one in show(farm, capsys, "SH7-001")["lineage"]]
    assert names[:2] == ["HX5-G2/J1", "HX5-G2"]
    assert set(names[2:]) == {"HX5-G1", "HX-5", "C-HX5-T2", "GO-12", "SH-7"}
    assert farm.say("lot", "show", "HX5-G1", "--json") == 0
    lot = json.loads(capsys.readouterr().out)
    assert [one["name"] for one in lot["gave"]] == ["HX5-G2", "HX5-G2/J1"]
    assert lot["all_bags"] == ["SH7-001"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("lot", "add", "X", "parent=GO12-G2-0262"), "did you mean GO12-G2-0226?"),
        (("lot", "add", "X", "parent=X"), "can't come from itself"),
        (("lot", "add", "X", "genration=G2"), "did you mean generation?"),
        (("lot", "add", "X", "generation=G7"), "write G1, G2, G3"),
        (("lot", "add", "X", "made=soon"), "is no time"),
        (("lot", "add", "GO12-G2-0226", "parent=GO12-G2-0226/J4"), "its own forebear"),
        (("lot", "hold", "GO12-G2-0227", "--why", "x"), "did you mean GO12-G2-0226"),
        (("lot", "release", "GO12-G2-0226"), "is released already"),
        (("book", "add", "load", "L32", "hours=long"), "no number"),
    ],
)
def test_a_record_that_cannot_be_is_refused(
    farm: Farm, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    before = farm.rows()
    assert farm.say(*words) == 2
    assert told in capsys.readouterr().err
    assert farm.rows() == before


def test_a_held_lot_gives_no_bag_nor_does_anything_made_from_it(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.say("lot", "hold", "GO12-G2-0226", "--why", "sour") == 0
    assert "40 bags" in capsys.readouterr().out
    words = ("batch", "add", "Q", "GO12-057", "--strain", "GO-12", "--mass", "2.3")
    assert farm.say(*words, "--lot", "GO12-G2-0226/J9") == 2
    assert "on hold (sour)" in capsys.readouterr().err
    assert farm.say("lot", "release", "GO12-G2-0226") == 0
    assert farm.say(*words, "--lot", "GO12-G2-0226/J9") == 0


def test_a_bag_that_is_pulled_twice_may_have_been_another(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    """Taken all the same, as a cause may be known better now; and told, as 17 may be 71."""
    told = "GO12-017: `pulled` stood there already; was it another bag? bagwatt book undo"
    for count, code in enumerate(("17", "18", "17")):
        capsys.readouterr()
        assert farm.say("bag", "pulled", code, "--cause", "yeast") == 0
        assert (told in capsys.readouterr().out) is (count == 2)
    assert farm.say("bag", "composted", "17") == 0
    assert "already" not in capsys.readouterr().out


def test_a_bag_that_left_does_not_stand_where_it_is_moved(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.say("bag", "to-fruiting", "17") == 0
    capsys.readouterr()
    assert farm.say("bag", "move", "17", "F1/1/1", "18", "R3/1/1") == 0
    told = capsys.readouterr().out
    assert "GO12-017 left the room, and is now written at F1/1/1" in told
    assert "GO12-017 stands" not in told and "GO12-018 stands at R3/1/1" in told


def test_undo_takes_back_the_last_act_and_keeps_it_readable(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    assert farm.say("bag", "pulled", "17", "18", "--cause", "yeast") == 0
    assert farm.say("bag", "move", "20", "R3/1/1") == 0
    for _ in range(2):
        assert farm.say("book", "undo") == 0
    shown = show(farm, capsys, "17")
    assert not shown["gone"]
    assert [(one["event"], one["struck"]) for one in shown["events"]] == [
        ("pulled", True), ("returned", False),
    ]  # fmt: skip
    assert show(farm, capsys, "20")["place"] == "R1/1/4"
    assert farm.say("book", "undo") == 0  # the batch itself
    with farm.read() as store:
        assert store.book()[0] == {}
        assert len(store.history("bag", "GO12-017")) == 2


def test_a_return_taken_back_leaves_the_bag_lost_to_what_it_was_lost_to(farm: Farm) -> None:
    """Tuning and trace go by the last word on a bag: it says as much as the one before."""
    assert farm.say("bag", "pulled", "17", "--cause", "wet spot", "--surely") == 0
    assert farm.say("bag", "returned", "17") == 0
    assert farm.say("book", "undo") == 0
    with farm.read() as store:
        bags = {name: bag for name, bag in store.book()[0].items() if name == "GO12-017"}
        entries = [one.entry for one in store.entries("GO12-017") if not one.struck]
        (record,) = [one for one in bag_records(store) if one.bag == "GO12-017"]
    found = endings(bags, entries, SystemClock().wall_s(), 30 * DAY_S)["GO12-017"]
    assert found.end is End.BAD
    assert record.outcome == CONTAMINATED_SURELY


def test_undo_takes_back_only_ones_own_act(farm: Farm, capsys: pytest.CaptureFixture[str]) -> None:
    assert farm.say("bag", "move", "17", "R3/1/1", by="Ada") == 0
    assert farm.say("book", "undo", by="Kim") == 2  # Kim's batch was changed by Ada since
    assert "changed again since" in capsys.readouterr().err
    assert farm.say("book", "undo", by="Ada") == 0
    assert show(farm, capsys, "17")["place"] == "R1/1/1"


def test_of_two_who_want_one_slot_at_once_the_second_is_told(farm: Farm) -> None:
    """Two real processes: one moves its bag, the other reads who was there first."""
    command = [sys.executable, "-m", "monitor", "bag", "move"]
    tail = ["R7/1/1", "--config", str(farm.path), "--by"]
    both = [
        subprocess.Popen([*command, code, *tail, who], stderr=subprocess.PIPE, text=True)
        for code, who in (("17", "Ada"), ("18", "Kim"))
    ]
    said = [one.communicate(timeout=60)[1] for one in both]
    assert sorted(one.returncode for one in both) == [0, 2]
    assert any("R7/1/1 holds GO12-01" in text for text in said)
    with farm.read() as store:
        there = [bag for bag in store.book()[0].values() if bag.rack == "R7"]
    assert len(there) == 1


def test_log_says_who_wrote_what(farm: Farm, capsys: pytest.CaptureFixture[str]) -> None:
    assert farm.say("bag", "shaken", "GO12-{017..020}", by="Ada") == 0
    capsys.readouterr()
    assert farm.say("book", "log", "--json") == 0
    newest = json.loads(capsys.readouterr().out)[0]
    assert (newest["by"], newest["what"]) == ("Ada", "shaken GO12-017 GO12-018 GO12-019 GO12-020")


def test_who_writes_behind_sudo_is_who_sits_there(
    farm: Farm, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a Pi the commands run as the user bagwatt."""
    monkeypatch.setenv("SUDO_USER", "ida")
    assert main(["bag", "shaken", "GO12-017", "--config", str(farm.path)]) == 0
    capsys.readouterr()
    assert farm.say("book", "log", "--json") == 0
    assert json.loads(capsys.readouterr().out)[0]["by"] == "ida"


def test_log_names_a_bag_in_full(farm: Farm, capsys: pytest.CaptureFixture[str]) -> None:
    """What was typed short may be any of several bags by the next season."""
    assert farm.say("bag", "shaken", "17", "18") == 0
    assert farm.say("bag", "move", "19", "R9/1/1") == 0
    assert farm.say("bag", "probe-on", "20", "p1") == 0
    assert farm.say("bag", "probe-off", "20") == 0
    capsys.readouterr()
    assert farm.say("book", "log", "--json", "--count", "4") == 0
    assert [one["what"] for one in json.loads(capsys.readouterr().out)] == [
        "probe off GO12-020", "probe p1 on GO12-020", "move GO12-019", "shaken GO12-017 GO12-018",
    ]  # fmt: skip


def test_a_correction_is_a_new_version(farm: Farm) -> None:
    assert farm.say("bag", "correct", "17", "mass_kg=2.25", "recipe=oak", "jar=J5") == 0
    with farm.read() as store:
        versions = [one.now for one in store.history("bag", "GO12-017")]
    before, after = versions
    assert isinstance(before, Bag) and isinstance(after, Bag)
    assert (before.mass_kg, after.mass_kg) == (2.3, 2.25)
    assert (after.recipe, after.extra["jar"]) == ("oak", "J5")
    assert after.inoculated_s == before.inoculated_s


def test_what_nothing_is_written_of_is_said_so(
    farm: Farm, capsys: pytest.CaptureFixture[str]
) -> None:
    """No head stands above nothing."""
    capsys.readouterr()
    assert farm.say("lot", "show", "GO12-G2-0226") == 0
    assert "\ncomes from: nothing is written of it\n\ngave\n" in capsys.readouterr().out
    assert farm.say("bag", "show", "17") == 0
    assert "\nwhat happened: nothing is written of it\n" in capsys.readouterr().out
