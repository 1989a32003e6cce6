"""Every command for developers, run by `python -m`, says what it does and writes nothing then."""

from __future__ import annotations

import re
import runpy
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

from demo.kinds import NAMES

ROOT = Path(__file__).resolve().parent.parent
DOCUMENTED = re.findall(
    r"python -m ((?:demo|tests)\.[a-z_.]+[a-z])", (ROOT / "DEVELOPERS.md").read_text("utf-8")
)
#: The others: what stands in these folders and can be run.
RUN = [
    f"{path.parent.relative_to(ROOT)}.{path.stem}".replace("/", ".")
    for folder in ("demo", "tests/bench")
    for path in (ROOT / folder).glob("*.py")
    if '\nif __name__ == "__main__":' in path.read_text("utf-8")
]
COMMANDS = sorted({*DOCUMENTED, *RUN})

pytestmark = pytest.mark.filterwarnings("ignore:.* found in sys.modules:RuntimeWarning")


def run(monkeypatch: pytest.MonkeyPatch, folder: Path, name: str, *words: str) -> int:
    """The exit code of a command run in `folder`."""
    monkeypatch.chdir(folder)
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "1")  # some set it, which would outlast the test
    monkeypatch.setattr(sys, "argv", [name, *words])
    with pytest.raises(SystemExit) as ended:
        runpy.run_module(name, run_name="__main__", alter_sys=True)
    code = ended.value.code
    assert isinstance(code, int | None)
    return code or 0


def test_commands_are_found() -> None:
    assert {"demo.folder", "demo.pictures", "tests.bench.watch", "tests.simulation"} <= {*COMMANDS}


@pytest.mark.parametrize("name", COMMANDS)
def test_help_says_how_it_is_called_and_what_it_does(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And leaves the folder it was called in as it was."""
    assert run(monkeypatch, tmp_path, name, "--help") == 0
    said = capsys.readouterr()
    called = "demo/run" if name == "demo.show" else f"python -m {name}"
    assert said.out.startswith(f"usage: {called} [-h]") and said.err == ""
    assert len(said.out.splitlines()) > 5
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(find_spec("atheris") is not None, reason="atheris is here: it would fuzz")
def test_the_guided_fuzzer_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["guided", "-runs=1"])
    with pytest.raises(SystemExit, match="`pip install atheris` first"):
        runpy.run_module("tests.fuzz.guided", run_name="__main__", alter_sys=True)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("judge", ()),
        *((name, ("gone",)) for name in ("judge", "replay", "cost")),
        *((name, ("gone", "out")) for name in ("as_walks", "as_weak")),
        ("across", ("gone", "gone", "gone")),
        ("across", (".", ".")),
    ],
)
def test_a_bench_without_its_folders_says_so(
    name: str,
    words: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(monkeypatch, tmp_path, f"tests.bench.{name}", *words) == 2
    said = capsys.readouterr().err
    assert ("gone is no folder" if "gone" in words else "FOLDER") in said


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        (("third", "7", "out"), ", ".join(f"'{name}'" for name in NAMES)),
        (("first", "-7", "out"), "'-7' is no whole number from 0 on"),
        (("first", "seven", "out"), "'seven' is no whole number from 0 on"),
        (("first", "7"), "required: FOLDER"),
        (("first", "7", "/dev/null"), "/dev/null is no folder"),
    ],
)
def test_a_room_that_can_not_be_drawn_is_refused_with_what_would_be_taken(
    words: tuple[str, ...],
    answer: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(monkeypatch, tmp_path, "demo.folder", *words) == 2
    assert answer in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_room_is_not_drawn_over_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A book of the folder's former room would be read with the new one; and it may be a farm's."""
    (tmp_path / "room").mkdir()
    (tmp_path / "room" / "book.csv").write_text("time,bag,event,detail\n", encoding="utf-8")
    assert run(monkeypatch, tmp_path, "demo.folder", "first", "7", "room") == 2
    assert "room is not empty (book.csv): name a new folder" in capsys.readouterr().err
    assert [one.name for one in (tmp_path / "room").iterdir()] == ["book.csv"]
