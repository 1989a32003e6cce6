"""`bagwatt alarms` on a real store: listing, answering, refusing what it must."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.store import LogKind, Store
from monitor.values import (
    AlarmCommand,
    AlarmEvent,
    AlarmKind,
    Facts,
    Reason,
    Transition,
    Urgency,
)

ROOT = Path(__file__).resolve().parent.parent
NOW_S = 1_772_700_000.0


def hot(alarm_id: str, bag: str) -> AlarmEvent:
    facts = Facts(bag=bag, surface_c=25.1, excess_k=1.4, peers=11, evidence=6.0, rack="R1", shelf=2)
    return AlarmEvent(
        f"{alarm_id}:raised", alarm_id, NOW_S, AlarmKind.HOT_BAG, bag, Transition.RAISED,
        Urgency.TODAY, Reason.ADDED_HEAT, facts, first_in=True,
    )  # fmt: skip


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """Settings with a store that has two alarms standing."""
    shutil.copytree(ROOT / "config", tmp_path, dirs_exist_ok=True)
    with Store.open(tmp_path / "bagwatt.db", NOW_S) as store:
        store.close_frame(NOW_S, NOW_S, 0, 0, events=[hot("a1b2c3", "B17"), hot("a1ffff", "B18")])
    return tmp_path


def run(*words: str) -> int:
    return main(["alarms", *words])


def commands(config: Path) -> list[AlarmCommand]:
    with Store.open(config / "bagwatt.db", NOW_S) as store:
        rows = store.journal_after(0)
    return [
        row.body
        for row in rows
        if row.kind is LogKind.COMMAND and isinstance(row.body, AlarmCommand)
    ]


def test_alarms_lists_what_stands_and_says_so_by_its_exit_code(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two unanswered alarms: exit code 3, a row for each."""
    assert run("--config", str(config)) == 3
    shown = capsys.readouterr().out
    assert "a1b2c3" in shown and "B17" in shown and "unacknowledged" in shown
    assert "\033" not in shown


def test_an_alarm_says_of_when_its_numbers_are(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Raised at 8:40, told of anew an hour and a half later."""
    later_s = NOW_S + 5400.0
    worse = replace(
        hot("a1b2c3", "B17"), event_id="2", at_s=later_s, transition=Transition.URGENCY_CHANGED
    )
    with Store.open(config / "bagwatt.db", later_s) as store:
        store.close_frame(later_s, later_s, 0, 0, events=[worse])
    assert run("--config", str(config)) == 3
    head, *rows = capsys.readouterr().out.splitlines()
    assert re.split(r"\s{2,}", head)[:4] == ["ALARM", "STANDS SINCE", "AS TOLD", "URGENCY"]
    told = next(row for row in rows if row.startswith("a1b2c3"))
    assert "Thu 2026-03-05 08:40  Thu 2026-03-05 10:10  today" in told
    run("--config", str(config), "--json")
    found = {one["alarm"]: one for one in json.loads(capsys.readouterr().out)}
    assert (found["a1b2c3"]["raised_s"], found["a1b2c3"]["told_s"]) == (NOW_S, later_s)


def test_alarms_as_json_is_for_scripts(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Numbers as numbers, terms as in the README."""
    assert run("--config", str(config), "--json") == 3
    rows = json.loads(capsys.readouterr().out)
    assert {row["alarm"] for row in rows} == {"a1b2c3", "a1ffff"}
    assert {row["kind"] for row in rows} == {"hot bag"}


def test_history_tells_what_happened(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Counted back from the last close."""
    assert run("--config", str(config), "--history", "1 h") == 0
    assert "B18" in capsys.readouterr().out


def test_acknowledging_writes_a_command_for_the_daemon(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A part of the id that fits only one is enough; until it is taken the list says so."""
    assert run("--config", str(config), "--acknowledge", "a1b") == 0
    assert capsys.readouterr().out.startswith("acknowledge, asked: Bag B17 is warmer")
    assert run("--config", str(config)) == 3
    assert capsys.readouterr().out.count("unacknowledged (acknowledge: asked)") == 1
    assert run("--config", str(config), "--json") == 3
    rows = {one["alarm"]: one["asked"] for one in json.loads(capsys.readouterr().out)}
    assert rows == {"a1b2c3": "acknowledge", "a1ffff": None}
    (asked,) = commands(config)
    taken = replace(
        hot("a1b2c3", "B17"), event_id="2", at_s=asked.at_s, transition=Transition.ACKNOWLEDGED
    )
    with Store.open(config / "bagwatt.db", NOW_S) as store:  # as the watch does between two frames
        store.add_events([taken])
    run("--config", str(config))
    assert ": asked)" not in capsys.readouterr().out
    (command,) = commands(config)
    assert (command.verb, command.alarm_id) == ("acknowledge", "a1b2c3")


def test_shelving_keeps_reason_and_end(config: Path) -> None:
    """Shelved for a while, never for good."""
    words = ("--config", str(config), "--shelve", "a1b2c3", "--for", "2 h", "--why", "re-taping")
    assert run(*words) == 0
    (command,) = commands(config)
    assert command.note == "re-taping"
    assert command.until_s is not None and command.until_s - command.at_s == pytest.approx(7200)


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (("--acknowledge", "a1"), "2 alarms"),
        (("--acknowledge", "zz"), "no alarm"),
        (("--shelve", "a1b2c3"), "say why"),
        (("--shelve", "a1b2c3", "--why", "x", "--for", "8 d"), "at most 7 d"),
        (("--acknowledge", "a1b2c3", "--unshelve", "a1ffff"), "one thing at a time"),
    ],
)
def test_what_cannot_be_asked_is_refused_with_a_word(
    config: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], text: str
) -> None:
    """Exit code 2, nothing written."""
    assert run("--config", str(config), *words) == 2
    assert text in capsys.readouterr().err
    assert commands(config) == []


def test_alarms_without_a_store_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A clear error, exit code 1."""
    shutil.copytree(ROOT / "config", tmp_path, dirs_exist_ok=True)
    assert run("--config", str(tmp_path)) == 1
    assert "bagwatt.db" in capsys.readouterr().err
