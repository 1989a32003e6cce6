"""One value in `strains.yaml` is changed in place, or nothing is."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from monitor.errors import SettingsError, WordError
from monitor.settings.edit import apply, backup_of, edited, snapshot, undo
from monitor.settings.load import load_strains

ROOT = Path(__file__).resolve().parent.parent.parent
VALUES = {"least_excess": "0.8 K", "false_calls_per_100": "1", "hold": "3 h"}


SMALL = """\
# strains of the barn
groups:
  oyster: {band: {low: 20 C, high: 22 C}}  # best
strains:
  GO-12: {group: oyster}    # grey oyster
  AM-3:
    group: oyster
  SH-7: {group: oyster}
"""


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A settings folder with three strains."""
    (tmp_path / "strains.yaml").write_text(SMALL, encoding="utf-8")
    return tmp_path


@pytest.fixture
def shipped(tmp_path: Path) -> Path:
    """A settings folder with the strains the project ships."""
    shutil.copy(ROOT / "config" / "strains.yaml", tmp_path)
    return tmp_path


def lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()


def test_apply_changes_one_line_of_the_shipped_file_and_keeps_the_old_one(shipped: Path) -> None:
    """Comments and order stay; the strain reads back with the new values, others as before."""
    path = shipped / "strains.yaml"
    before, book = lines(path), load_strains(shipped)
    apply(snapshot(shipped), "GO-12", VALUES)
    changed = [pair for pair in zip(before, lines(path), strict=True) if pair[0] != pair[1]]
    assert len(changed) == 1
    assert changed[0][1].endswith("# grey oyster")
    assert lines(backup_of(path)) == before
    now = load_strains(shipped)
    assert (now.strains["GO-12"].least_excess_k, now.strains["GO-12"].hold_s) == (0.8, 10800.0)
    assert now.strains["GO-12"].false_calls_per_100 == 1.0
    assert {k: v for k, v in now.strains.items() if k != "GO-12"} == {
        k: v for k, v in book.strains.items() if k != "GO-12"
    }


def test_undo_gives_back_every_byte_and_undone_again_applies(small: Path) -> None:
    """Taking back is a change of its own that can be taken back."""
    path = small / "strains.yaml"
    before = path.read_bytes()
    apply(snapshot(small), "AM-3", VALUES)
    applied = path.read_bytes()
    changes = undo(small)
    assert path.read_bytes() == before
    assert (("strains", "AM-3", "hold"), "3 h", None) in changes
    undo(small)
    assert path.read_bytes() == applied


def test_apply_is_refused_when_the_file_changed_meanwhile(small: Path) -> None:
    """Somebody's own edit is never overwritten."""
    seen = snapshot(small)
    path = small / "strains.yaml"
    by_hand = path.read_text(encoding="utf-8") + "# mine\n"
    path.write_text(by_hand, encoding="utf-8")
    with pytest.raises(SettingsError) as told:
        apply(seen, "GO-12", VALUES)
    assert "changed while" in told.value.problems[0]
    assert path.read_text(encoding="utf-8") == by_hand
    assert sorted(one.name for one in small.iterdir()) == ["strains.yaml"]


def test_undo_is_refused_when_more_was_changed_by_hand_since(small: Path) -> None:
    """It would take the grower's own change back with it."""
    apply(snapshot(small), "GO-12", VALUES)
    path = small / "strains.yaml"
    text = path.read_text(encoding="utf-8").replace("SH-7: {group: oyster}", "SH-7: {}")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as told:
        undo(small)
    assert "strains.SH-7.group was changed by hand" in told.value.problems[0]
    assert path.read_text(encoding="utf-8") == text


def test_undo_without_anything_applied_says_so(small: Path) -> None:
    with pytest.raises(WordError, match="nothing was applied"):
        undo(small)


@pytest.mark.parametrize("value", ["30 parsecs", "0.8 W", "99 K", "{a: b}", "0.8 K # no"])
def test_a_value_that_no_setting_takes_leaves_the_file_as_it_was(small: Path, value: str) -> None:
    before = (small / "strains.yaml").read_bytes()
    with pytest.raises(SettingsError):
        apply(snapshot(small), "GO-12", {"least_excess": value})
    assert (small / "strains.yaml").read_bytes() == before
    assert not backup_of(small / "strains.yaml").exists()


FORMS = {
    "in a flow block": ("strains:\n  GO-12: {group: oyster} # c\n",
                        "GO-12: {group: oyster, X} # c"),
    "in place": ("strains:\n  GO-12:\n    hold: 2 h # c\n    run: {shortest: 1 d, longest: 2 d}\n",
                 "    hold: 5 h # c\n"),
    "in a block": ("strains:\n  GO-12:\n    group: oyster # c\n\n# end\n",
                   "    group: oyster # c\n    hold: 5 h\n\n# end\n"),
    "after a list": ("strains:\n  GO-12:\n    core_limits:\n      - {core: 30 C, duration: 1 d}\n",
                     "1 d}\n    hold: 5 h\n"),
    "empty block": ("strains:\n  GO-12: {} # c\n", "GO-12: {hold: 5 h} # c\n"),
    "new strain": ("strains:\n  AM-3: {group: x}\n\n# tail\n",
                   "AM-3: {group: x}\n  GO-12: {hold: 5 h}\n\n# tail\n"),
    "new strain in flow": ("strains: {AM-3: {group: x}}\n",
                           "{AM-3: {group: x}, GO-12: {hold: 5 h}}\n"),
    "no strains": ("defaults: {hold: 1 h}", "1 h}\nstrains:\n  GO-12: {hold: 5 h}\n"),
    "windows": ("strains:\r\n  GO-12:\r\n    group: x\r\n", "group: x\r\n    hold: 5 h\r\n"),
    "byte order mark": ("\ufeffstrains:\n  GO-12: {group: x}\n",
                        "\ufeffstrains:\n  GO-12: {group: x, X}"),
    "quoted name": ('strains:\n  "GO-12": {group: x}\n', '"GO-12": {group: x, X}'),
    "empty strains": ("strains:\ndefaults: {hold: 1 h}\n",
                      "strains:\n  GO-12: {hold: 5 h}\ndefaults"),
}  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
def test_a_value_finds_its_place_in_every_form_a_file_has(form: str) -> None:
    text, wanted = FORMS[form]
    after = edited(text.encode(), "GO-12", {"hold": "5 h"}).decode()
    assert wanted.replace("X", "hold: 5 h") in after


LIMITED = """\
groups:
  oyster: {core_limits: [{core: 32 C, duration: 4 d}, {core: 36 C, duration: 24 h}]}
strains:
  GO-12:
    core_limits:
      - {core: 32 C, duration: 4 d}     # borne
      - core: "96.8 F"                  # it begins to die
        duration: 24 h
    hold: 2 h
  AM-3: {group: oyster}   # golden
"""


def test_a_strains_own_core_limits_change_in_their_places(tmp_path: Path) -> None:
    """Only what differs is written; comments and order stay; undo gives it back."""
    path = tmp_path / "strains.yaml"
    path.write_text(LIMITED, encoding="utf-8")
    apply(snapshot(tmp_path), "GO-12", {"hold": "3 h"}, [("32 C", "4 d"), ("35.5 C", "12 h")])
    wanted = LIMITED.replace('"96.8 F"', "35.5 C").replace(
        "duration: 24 h\n    hold: 2 h", "duration: 12 h\n    hold: 3 h"
    )
    assert path.read_text(encoding="utf-8") == wanted
    assert load_strains(tmp_path).strains["GO-12"].core_limits[1].core_c == 35.5
    undo(tmp_path)
    assert path.read_text(encoding="utf-8") == LIMITED


def test_core_limits_of_the_group_become_the_strains_own(tmp_path: Path) -> None:
    path = tmp_path / "strains.yaml"
    path.write_text(LIMITED, encoding="utf-8")
    apply(snapshot(tmp_path), "AM-3", {}, [("33 C", "4 d"), ("36 C", "24 h")])
    own = "core_limits: [{core: 33 C, duration: 4 d}, {core: 36 C, duration: 24 h}]"
    wanted = LIMITED.replace("{group: oyster}   # golden", f"{{group: oyster, {own}}}   # golden")
    assert path.read_text(encoding="utf-8") == wanted


def test_core_limits_out_of_order_are_refused_and_the_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "strains.yaml"
    path.write_text(LIMITED, encoding="utf-8")
    with pytest.raises(SettingsError):
        apply(snapshot(tmp_path), "GO-12", {}, [("37 C", "4 d"), ("36 C", "24 h")])
    assert path.read_text(encoding="utf-8") == LIMITED


def test_a_name_that_yaml_would_turn_is_quoted() -> None:
    """A strain called 12 or no stays a text."""
    assert b'"12": {hold: 5 h}' in edited(b"strains: {}\n", "12", {"hold": "5 h"})
