"""`bagwatt tune` on a store that a watch left behind: figures, files, and clear words."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from demo.filled import fill, write_room
from demo.rooms import DAY_S, FIRST, START_S, make_room
from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.recount import of_store
from monitor.recount_file import RecountFile
from monitor.review.account import Account, FrameAccount
from monitor.review.predict import predict, told
from monitor.review.tune_rooms import no_history, renamed
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.store import Store, open_reader
from monitor.tuning_file import kept_tuning
from monitor.values import Bag, BookEntry

MONITOR = """\
room: {name: barn, folder: room, timezone: UTC, band_low: 15 C, band_high: 29 C}
channels: none
store: {path: bagwatt.db}
book: {currency: £}
costs: {lost_bag: 30, needless_walk: 2, neighbour_per_day: 4}
"""
STRAINS = """\
strains:
  GO-12: {least_excess: 0.2 K}  # grey
  AM-3: {least_excess: 1.6 K}
"""
DAYS = 3.5


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A settings folder with a store of four days of sixteen bags, outcomes written."""
    trouble = replace(
        FIRST.trouble, contaminated=0.1, added_age_h=(40.0, 44.0), added_k=(4.0, 5.0),
        run_chance=0.0, lot_chance=0.0, stalled=0.0, fell=0, stuck=0, silent=0,
        heater_stuck_chance=0.0,
    )  # fmt: skip
    spec = replace(FIRST, lines=FIRST.lines[:2], bags_per_cohort=7, days=DAYS,
                   session_days=(0.25,), trouble=trouble)  # fmt: skip
    room = make_room(spec, next(s for s in range(99) if len(make_room(spec, s).hot) == 2))
    path = tmp_path_factory.mktemp("kept")
    (path / "monitor.yaml").write_text(MONITOR, encoding="utf-8")
    (path / "strains.yaml").write_text(STRAINS, encoding="utf-8")
    write_room(path / "room", room)
    settings = load_settings(path, {})
    fill(settings, room, START_S + DAYS * DAY_S)
    shutil.copy(settings.store.path, path / "before.db")
    with Store.open(settings.store.path, START_S) as store:
        for bag, kind in enumerate(room.kinds):
            outcome = "contaminated" if kind == "contaminated" else "healthy"
            store.add_entry(BookEntry(START_S + 3.4 * DAY_S, f"B{bag:03d}", "outcome", outcome))
    return path


@pytest.fixture
def config(kept: Path, tmp_path: Path) -> Path:
    """The same, to be changed."""
    shutil.copytree(kept, tmp_path / "c")
    return tmp_path / "c"


def settings_of(config: Path) -> Settings:
    return load_settings(config, {})


def test_alarms_predicted_from_the_stores_log_are_those_that_were_told_live(kept: Path) -> None:
    """To the frame and the urgency; and the evidence kept beside the store is the same."""
    settings = settings_of(kept)
    with open_reader(settings.store.path) as store:
        account = of_store(store, settings)
        again = of_store(store, settings)
        live = [told(event) for event in store.events()]
    assert len(live) > 2
    assert predict(account, settings.strains.lookup).told == live
    assert again == account


def test_a_recount_goes_on_where_the_kept_one_ended(config: Path) -> None:
    """The first half kept, then the rest: the same alarms as all at once."""
    settings = settings_of(config)
    with open_reader(settings.store.path) as store:
        whole = of_store(store, settings)
        shutil.rmtree(config / "bagwatt.db.evidence")  # as it was before the first recount
        cut = HalfWay(store, whole.frames[len(whole.frames) // 2].end_s)
        half = of_store(cut, settings)  # type: ignore[arg-type]
        rest = of_store(store, settings)
    assert half.frames == whole.frames[: len(half.frames)]
    assert len(rest.frames) == len(whole.frames)
    assert predict(rest, settings.strains.lookup) == predict(whole, settings.strains.lookup)


def test_two_at_once_don_t_tell_the_evidence_again(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The page may have begun one: the other says so, and what is kept stays whole."""
    store = config / "bagwatt.db"
    with RecountFile(store, "room", "").alone():
        assert main(["tune", "GO-12", "--config", str(config)]) == Exit.FAILED
    assert "another `bagwatt tune` works on it" in capsys.readouterr().err
    assert main(["tune", "GO-12", "--config", str(config)]) == Exit.FOUND
    kept = kept_tuning(store, "GO-12")
    assert kept is not None and kept.sheets["C"]["title"].startswith("GO-12: 7 bags in 1 run")


class HalfWay:
    """A store as it was when a frame had just been closed."""

    def __init__(self, store: object, end_s: float) -> None:
        self._store, self._end_s = store, end_s

    def __getattr__(self, name: str) -> object:
        return getattr(self._store, name)

    def last_frame(self) -> object:
        return self._store.frame_closed_at(self._end_s)  # type: ignore[attr-defined]


def test_tune_prints_its_table_and_says_that_two_bags_are_too_few(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tune", "GO-12", "--config", str(config)]) == Exit.FOUND
    out = capsys.readouterr().out
    assert "GO-12: 7 bags in 1 run" in out
    assert "too little to tell" in out
    assert next(line.split()[0] for line in out.splitlines() if "0.5 °C" in line) == "shipped"


def test_apply_writes_the_proposal_and_undo_takes_it_back(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Only the strain's own values change; the comment stays."""
    assert main(["tune", "AM-3", "--config", str(config), "--apply"]) == Exit.DONE
    text = (config / "strains.yaml").read_text(encoding="utf-8")
    assert "AM-3: {least_excess: 0.5 K, false_calls_per_100: 0.5, hold: 1 h}" in text
    assert "GO-12: {least_excess: 0.2 K}  # grey" in text
    assert main(["tune", "--undo", "--config", str(config)]) == Exit.DONE
    assert (config / "strains.yaml").read_text(encoding="utf-8") == STRAINS
    assert "AM-3.least_excess: 0.5 K -> 1.6 K" in capsys.readouterr().out


def test_json_and_picture_of_a_tuning(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("matplotlib")
    picture = config / "tune.png"
    words = ["tune", "GO-12", "--config", str(config), "--json", "--png", str(picture)]
    assert main(words) == Exit.FOUND
    found = json.loads(capsys.readouterr().out)
    assert found["ends"] == {"contaminated surely": found["ends"]["contaminated surely"],
                             "healthy": found["ends"]["healthy"]}  # fmt: skip
    assert len(found["cloud"]) == 500
    assert picture.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["GO-21"], "no bag of GO-21 is in the history, only of AM-3, GO-12; did you mean `GO-12`"),
        ([], "name the STRAIN to tune"),
        (["GO-12", "--normal"], "that ended healthy; `bagwatt bag full-run` writes that down"),
        (["GO12", "--normal"], "that ended healthy; did you mean `GO-12`?"),
        (["--import", "monitor.yaml"], "monitor.yaml"),
    ],
)
def test_what_can_not_be_done_is_a_clear_word(
    config: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    words = [str(config / word) if word.endswith(".yaml") else word for word in words]
    assert main(["tune", *words, "--config", str(config)]) == Exit.UNUSABLE
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("asked", ["--normal", "--learn", "--watcher"])
def test_a_folder_is_refused_where_it_can_not_count(
    config: Path, capsys: pytest.CaptureFixture[str], asked: str
) -> None:
    """With a store it would be passed over in silence; without one a watch would not help it."""
    words = ["tune", "GO-12", asked, "--folder", str(config / "room"), "--config", str(config)]
    assert main(words) == Exit.UNUSABLE
    told = capsys.readouterr().err
    assert told.startswith(f"--folder: {asked} goes by what `bagwatt watch` saw in this room")
    assert "leave --folder out, or" in told
    (config / "bagwatt.db").unlink()
    assert main(words) == Exit.UNUSABLE
    told = capsys.readouterr().err
    assert f"({config / 'bagwatt.db'} is not there yet: the first watch makes it)" in told


def test_without_a_store_there_is_a_clear_word(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "monitor.yaml").write_text(MONITOR.replace(", folder: room", ""), encoding="utf-8")
    assert main(["tune", "GO-12", "--config", str(tmp_path)]) == Exit.FAILED
    assert "there is no store yet" in capsys.readouterr().err


def test_without_outcomes_nothing_is_counted_and_that_is_said(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for path in config.glob("bagwatt.db*"):
        if path.is_file():
            path.unlink()
    shutil.copy(config / "before.db", config / "bagwatt.db")
    main(["tune", "GO-12", "--config", str(config)])
    out = capsys.readouterr().out
    assert "nothing is written of what became of these bags" in out
    assert "no bad bag" in out


def test_promise_and_watcher_tell_of_all_strains(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["tune", "--promise", "--config", str(config)])
    out = capsys.readouterr().out
    assert "AM-3: 0.5 false calls per 100 promised" in out
    assert "all strains" in out
    main(["tune", "--watcher", "--config", str(config)])
    out = capsys.readouterr().out
    assert out.startswith("2026-03 anybody: ")
    assert "30 are asked for" in out


def test_thresholds_changed_midway_in_a_run_are_told(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The watch noted what held; of a strain whose thresholds stayed nothing is said."""
    with Store.open(config / "bagwatt.db", START_S) as store:
        held = next(json.loads(one.detail) for one in store.notes() if one.kind == "thresholds")
        held["GO-12"] = [0.7, 0.5, 3600.0]
        store.add_note(START_S + 2 * DAY_S, "thresholds", json.dumps(held))
    main(["tune", "GO-12", "--config", str(config)])
    assert "its thresholds changed on 2026-03-04, midway in a run" in capsys.readouterr().out
    main(["tune", "AM-3", "--config", str(config)])
    assert "midway" not in capsys.readouterr().out


def test_a_strain_renamed_in_the_book_is_told() -> None:
    """Bags booked as one strain at first and as another later."""
    bag = Bag("B1", "b", "AM-3", "lot", START_S, 2.3, "R1", 1, 1)
    first = FrameAccount(START_S + 600.0, bags={"B1": bag})
    later = FrameAccount(START_S + 1200.0, bags={"B1": replace(bag, strain="GO-12")})
    account = Account("room", (first, later))
    told_words = renamed("GO-12", [account])
    assert len(told_words) == 1
    assert told_words[0].startswith("1 bag of GO-12 booked as AM-3 at first")
    assert renamed("AM-3", [account]) == []
    assert no_history("AM-3", [account]).startswith("no bag of AM-3 is in the history, only of GO")
    assert "there is no history" in no_history("GO-12", [])
