"""Every file in `bad/` is refused with exactly the problems its first lines foretell.

A line `# says: LINE:COLUMN: text ... more text` gives the place, counted from the first line
after those comments, and parts of the message in order.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from monitor.errors import SettingsError
from monitor.settings.load import load_settings
from tests.settings.bad_files import bad_files

GOOD = """
room: {name: Spawn run, folder: ., timezone: UTC, band_low: 20 C, band_high: 25 C}
channels: none
store: {path: room.db}
"""
ENV = {"PHONE": "json://127.0.0.1:9", "NOT_A_URL": "hunter2"}


def problems_of(folder: Path, text: str, file: str) -> tuple[str, ...]:
    (folder / "monitor.yaml").write_text(GOOD, encoding="utf-8")
    (folder / file).write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load_settings(folder, ENV)
    return caught.value.problems


@pytest.mark.parametrize("name", bad_files())
def test_bad_file_is_answered_with_place_and_fix_when_loaded(name: str, tmp_path: Path) -> None:
    says, text = bad_files()[name]
    file = "strains.yaml" if name.startswith("strains-") else "monitor.yaml"
    problems = problems_of(tmp_path, text, file)
    assert len(problems) == len(says), "\n".join(problems)
    for problem, expected in zip(problems, says, strict=True):
        parts = f"{tmp_path / file}:{expected}".split(" ... ")
        pattern = ".*".join(re.escape(part) for part in parts)
        assert re.match(pattern, problem, re.DOTALL), problem
        assert "hunter2" not in problem


def test_all_faults_of_both_files_are_told_at_once_in_the_order_of_lines(tmp_path: Path) -> None:
    (tmp_path / "strains.yaml").write_text("strains: {A: {group: b}}\nx: 1\n", encoding="utf-8")
    text = GOOD.replace("20 C", "warm").replace("25 C", "12:30").replace("UTC", "no")
    (tmp_path / "monitor.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        load_settings(tmp_path, {})
    line = text.splitlines()[1]
    expected = [f"monitor.yaml:2:{line.index(word) + 1}:" for word in ("no,", "warm", "12:30")]
    expected += ["strains.yaml:1:22:", "strains.yaml:2:1:"]
    told = [Path(problem.split(" ")[0]).name for problem in caught.value.problems]
    assert told == expected
    assert "5 problems" in str(caught.value)


def test_group_of_a_strain_is_checked_when_another_part_is_faulty(tmp_path: Path) -> None:
    text = "defaults: {hold: 3}\ngroups: {oyster: {band: 3}}\nstrains: {A: {group: oister}}\n"
    problems = problems_of(tmp_path, text, "strains.yaml")
    assert len(problems) == 3
    assert "did you mean `oyster`?" in problems[2]


def test_missing_file_is_a_problem_naming_it(tmp_path: Path) -> None:
    with pytest.raises(SettingsError) as caught:
        load_settings(tmp_path, {})
    assert "monitor.yaml:1:1: there is no such file" in caught.value.problems[0]


def test_folder_in_place_of_a_file_is_a_problem(tmp_path: Path) -> None:
    (tmp_path / "monitor.yaml").mkdir()
    with pytest.raises(SettingsError, match="1 problem;") as caught:
        load_settings(tmp_path, {})
    assert "no plain file" in caught.value.problems[0]


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"room:\n  name: \xff\n", "2:9: this byte is not UTF-8"),
        (b"a: 1\nb: \x07\n", "2:4: a character that text never holds"),
        (b'a: "\\U00110000"\n', "this is not YAML; look for a broken \\ escape"),
        (b"# " + b"x" * 300_000, "at most 262144 are read"),
        (b"", "it holds nothing"),
        (b"[" * 5000, "nested more than 16 deep"),
    ],
)
def test_bytes_that_are_no_settings_are_refused_with_the_place(
    raw: bytes, says: str, tmp_path: Path
) -> None:
    (tmp_path / "monitor.yaml").write_bytes(raw)
    with pytest.raises(SettingsError) as caught:
        load_settings(tmp_path, {})
    assert says in caught.value.problems[0]
