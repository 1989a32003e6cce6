"""What a grower is told for a likely mistake: where, what, and what to do next."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.cli.exits import Exit
from tests.book.conftest import farm_as_entered  # noqa: F401

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture
def config(farm_as_entered: Path, tmp_path: Path) -> Path:  # noqa: F811
    """A farm with forty bags in rack R1."""
    shutil.copytree(farm_as_entered, tmp_path / "farm")
    return tmp_path / "farm"


def told(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """The exit code and what was said of it, where argparse ends it too."""
    capsys.readouterr()
    try:
        code = main(words)
    except SystemExit as ended:
        code = int(ended.code or 0)
    said = capsys.readouterr()
    return code, said.out + said.err


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        ("bag show 99", "99: no such bag in the book; `bagwatt bag list` shows what there is"),
        ("lot show X", "X: no such lot in the book; `bagwatt lot list` shows what there is"),
        ("bag correct 17 mass=3", "mass=: no such field to correct; fields are place, batch, "),
        ("bag correct 17 mass_kg=2,3", "mass_kg is '2,3'; write a point, such as 2.3"),
        ("batch add Q X --mass 2.3lb", "`2.3lb` is no mass: write kilograms such as 2.3"),
        ("night --date yesterday", "--date: `yesterday` is no day; write it such as 2026-03-04"),
        ("night --from 3 --to 4", "--from, --to: `3` is no time; write it such as 2026-03-04T"),
        ("night --date 2099-03-04", "--date: 2099-03-04 is still to come; name a night that has"),
        ("night --from 2099-03-04 --to 2099-03-05", "--from, --to: 2099-03-04 is still to come"),
        (
            "label --batch QL-0309 --out /proc/x.pdf --columns 2 --rows 4 --skip 8",
            "--skip 8: a sheet has 8 labels, and one must be left on it; skip 0 to 7",
        ),
        (
            "bag correct 17 strain=X'9",
            "no such strain: X'9; write it down first: bagwatt book add strain 'X'\"'\"'9'",
        ),
        ("bag correct 17 strain=GO12", "no such strain: GO12; did you mean GO-12? or write it"),
        ("bag correct 17 mass_kg=0.01", "a mass of 0.01 kg; if it is so, say --sure (up to 40)"),
        ("bag correct 17 mass_kg=23", "did you mean 2.3? If it is so, say --sure"),
        ("book import bag /proc", "/proc: is a folder; name a CSV file in it"),
        ("bag show 17 18", "bag show: `18` is not taken there; see `bagwatt bag show --help`"),
        ("bag yield 17 --grams 400", "bagwatt bag yield: `--grams 400` is not taken there"),
        ("alarms --answer 3", "bagwatt alarms: `--answer 3` is not taken there"),
        ("trace --since 3", "--since: 3 of what? write a duration such as `20 s`"),
        ("trace --since 3x", "--since: `x` is no unit of time; write a duration such as"),
        ("mirror", "monitor.yaml: it has no block `mirror`, so nothing is copied; README.md"),
        ("farm", "monitor.yaml: it has no block `neighbours`, so no room is heard; README.md"),
        ("page", "monitor.yaml: it has no block `page`, so no page is served; README.md"),
        (
            "tune --undo",
            "strains.yaml: nothing was applied; there is no .bak beside it",
        ),
        ("bag export /proc/x --from 2026-03-01 --to 2026-03-02", "/proc/x: can't be made ("),
    ],
)
def test_words_that_can_not_be_taken(
    config: Path, capsys: pytest.CaptureFixture[str], words: str, answer: str
) -> None:
    code, said = told(capsys, *words.split(), "--config", str(config))
    assert code == Exit.UNUSABLE
    assert answer in said
    assert "Traceback" not in said and "Value error" not in said
    assert "run `bagwatt check`" not in said, "it has nothing to do with the settings"


def test_a_replay_says_which_rows_it_left_out_and_that_a_file_runs_backward(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sheet sorted with the newest on top is read as it stands: nearly nothing comes of it."""
    row = "B1,Q,GO-12,L,{},2.3,R1,1,1,p1\n"
    (tmp_path / "bags.csv").write_text(
        HEAD + row.format("2026-03-01T00:00:00Z") + 6 * row.format("1.3.2026"), encoding="utf-8"
    )
    (tmp_path / "probes.csv").write_text("probe,place,rack,shelf\n", encoding="utf-8")
    rows = [f"2026-03-02T{hour:02d}:00Z,p1,temperature,22,Cel\n" for hour in range(9)]
    for order, backward in ((rows, False), (rows[::-1], True)):
        text = "time,probe,quantity,value,unit\n" + "".join(order)
        (tmp_path / "readings.csv").write_text(text, encoding="utf-8")
        code, said = told(capsys, "replay", str(tmp_path), "--out", str(tmp_path / "out"))
        assert code == Exit.DONE
        assert "rows skipped, bad time: 6" in said
        assert "bags.csv:3: '1.3.2026' is no ISO 8601 time" in said
        assert "bags.csv:8" not in said and "further ones stand in summary.json" in said
        wanted = "note: 6 readings are over an hour older than the first row of readings.csv: sort"
        assert (wanted in said) is backward


def test_a_picture_for_a_folder_that_is_not_there(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = told(capsys, "night", "--png", "/nowhere/n.png", "--config", str(config))
    assert code == Exit.FAILED
    assert said == "/nowhere/n.png: its folder is not there or can't be written; name another\n"


def test_a_night_fits_a_narrow_terminal(
    config: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A phone that is logged in to the Pi shows 40 columns."""
    monkeypatch.setenv("COLUMNS", "40")
    code, said = told(capsys, "night", "--config", str(config))
    assert code == Exit.DONE
    assert max(map(len, said.splitlines())) <= 40


def test_a_folder_for_a_replay_that_can_not_be_made(capsys: pytest.CaptureFixture[str]) -> None:
    room = str(ROOT / "config" / "room")
    code, said = told(capsys, "replay", room, "--out", "/proc/x")
    assert code == Exit.UNUSABLE and "Traceback" not in said


def test_settings_that_are_not_where_they_are_looked_for(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = config / "monitor.yaml"
    _, said = told(capsys, "check", "--config", str(file))
    assert (
        f"{file}: this is no folder; --config names the one it lies in: --config {config}" in said
    )
    _, said = told(capsys, "check", "--config", str(config / "gone"))
    assert "gone: there is no such folder; --config names the one with monitor.yaml in it" in said
    file.unlink()
    _, said = told(capsys, "check", "--config", str(config))
    assert f"{file}:1:1: there is no such file; copy the sample" in said
    assert "1 problem; mend it and run `bagwatt check`" in said


@contextmanager
def as_somebody_else() -> Iterator[None]:
    """As another user of the machine; all that is imported late is there by now."""
    if os.geteuid() != 0:
        pytest.skip("only root can be somebody else")
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.mark.parametrize("closed", ["folder", "monitor.yaml", "store"])
def test_what_another_user_may_not_read(
    config: Path, capsys: pytest.CaptureFixture[str], closed: str
) -> None:
    told(capsys, "alarms", "--config", str(config))  # imports
    for path in (*config.parents, config):
        if path.is_relative_to(config.parents[2]):
            path.chmod(0o755)
    if closed == "folder":
        config.chmod(0o700)
    elif closed == "monitor.yaml":
        (config / "monitor.yaml").chmod(0o600)
    else:
        (config / "hidden").mkdir(0o700)
        text = (config / "monitor.yaml").read_text(encoding="utf-8")
        text = text.replace("path: farm.db", "path: hidden/farm.db")
        (config / "monitor.yaml").write_text(text, encoding="utf-8")
    with as_somebody_else():
        code, said = told(capsys, "alarms", "--config", str(config))
    assert code in (Exit.UNUSABLE, Exit.FAILED)
    assert "Traceback" not in said
    assert "sudo -u bagwatt bagwatt" in said


def test_a_store_that_is_a_folder(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (config / "farm.db").unlink()
    (config / "farm.db").mkdir()
    for words in (("alarms",), ("bag", "list"), ("watch",)):
        code, said = told(capsys, *words, "--config", str(config))
        assert code == Exit.FAILED
        assert f"is a folder; name a file in store.path, such as {config / 'farm.db'}/" in said


def test_a_room_without_bags_says_how_they_come_in(
    config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, said = told(capsys, "walk", "--rack", "R9", "--config", str(config))
    assert said == "no bag stands in R9; there are bags in R1\n"
    (config / "farm.db").unlink()
    for words in (("walk",), ("bag", "list")):
        _, said = told(capsys, *words, "--config", str(config))
        assert said == "no bag in the room yet: `bagwatt batch add` enters them\n"
    shutil.copytree(ROOT / "config", tmp_path / "sample")
    sample = tmp_path / "sample"
    for words in (("walk",), ("bag", "list")):
        _, said = told(capsys, *words, "--config", str(sample))
        assert said == f"no bag in the room yet: `bagwatt watch` takes those of {sample / 'room'}\n"


HEAD = "bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe\n"
BAGS = (
    HEAD
    + """\
A1,Q,GO-12,L,2026-03-09T10:05:00Z,2.3,R1,2,1,p1
A1,Q,GO-12,L,2026-03-09T10:05:00Z,2.3,R1,2,2,p2
A2,Q,GO-12,L,09.03.2026,2.3,R1,2,3,p3
A3,Q,GO-12,L,2026-03-09T10:05:00Z,"2,3",R1,2,3,p3
A4,Q,GO-12,L,2026-03-09T10:05:00Z,2.3,R1,2,1,p4
A5,Q,GO-12,L,2036-03-09T10:05:00Z,2.3,R1,2,4,p1
"""
)


def test_a_spreadsheets_slips_are_told_with_their_line(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    room = config / "room"
    room.mkdir()
    text = (config / "monitor.yaml").read_text(encoding="utf-8")
    text = text.replace("room: {name", "room: {folder: room, name")
    (config / "monitor.yaml").write_text(text, encoding="utf-8")
    (room / "bags.csv").write_text(BAGS, encoding="utf-8")
    (room / "probes.csv").write_text(
        "probe,place,rack,shelf\np1,bag:A1,R1,2\np2,bag:ZZ,R1,2\n", encoding="utf-8"
    )
    _, said = told(capsys, "check", "--config", str(config))
    for line in (
        "bags.csv:3: named twice: A1 stands in line 2 too, which counts",
        "bags.csv:4: bad time: '09.03.2026' is no ISO 8601 time, such as 2026-03-09T10:05:00Z",
        "bags.csv:5: not a number: mass_kg is '2,3'; write a point, such as 2.3",
        "bags.csv: A1, A4 stand in one slot, R1/2/1",
        "probes.csv: p2 hangs on ZZ, which bags.csv does not have",
        "bags.csv has p1 on A5, probes.csv on A1: mend one of them",
        "bags.csv: A5 is inoculated on 2036-03-09, days ahead: mend the date",
        "cohorts: GO-12, lot L (inoculated 9 Mar 10:05) has 2 bags: under three peers",
    ):
        assert line in said
    for sign, name in ((";", "semicolons"), ("\t", "tabs")):
        (room / "bags.csv").write_text(BAGS.replace(",", sign), encoding="utf-8")
        _, said = told(capsys, "check", "--config", str(config))
        assert f"bags.csv:1: the columns are parted by {name}; save it as CSV parted by" in said
