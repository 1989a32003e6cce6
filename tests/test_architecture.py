"""The layout and the layers hold, by machine: imports, clocks, sizes, names at the top."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "monitor"
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml",
    "monitor", "config", "tests", "demo", "systemd",
}  # fmt: skip
MOST_FILE_LINES = 400
MOST_FUNCTION_LINES = 60
CLOCK_CALLS = {
    "datetime.now", "datetime.utcnow", "datetime.today", "date.today", "time.time", "time.time_ns",
    "time.monotonic", "time.monotonic_ns", "time.perf_counter", "time.clock_gettime",
    "time.localtime", "time.gmtime", "time.strftime",
}  # fmt: skip


def modules() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if "__pycache__" not in path.parts)


def dotted(node: ast.expr) -> str:
    parts: list[str] = []
    while isinstance(node, ast.Attribute):
        parts.append(node.attr)
        node = node.value
    if isinstance(node, ast.Name):
        parts.append(node.id)
    return ".".join(reversed(parts))


def clock_calls(source: str) -> list[str]:
    """Calls in a module's text that ask the time."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            name = dotted(node.func)
            if any(name == call or name.endswith("." + call) for call in CLOCK_CALLS):
                found.append(f"line {node.lineno}: {name}")
        if isinstance(node, ast.ImportFrom) and node.module == "time":
            found.append(f"line {node.lineno}: from time import …")
    return found


def test_only_clock_asks_the_time() -> None:
    """Every other module is handed its time."""
    offenders = {
        str(path.relative_to(ROOT)): calls
        for path in modules()
        if path.name != "clock.py" and (calls := clock_calls(path.read_text(encoding="utf-8")))
    }
    assert offenders == {}


@pytest.mark.parametrize(
    "text",
    [
        "import datetime\ndatetime.datetime.now()",
        "import time\ntime.time()",
        "from time import time",
    ],
)
def test_the_clock_ban_catches_a_clock(text: str) -> None:
    """The check fails where it should."""
    assert clock_calls(text)


def test_layers_and_pure_set_hold() -> None:
    """import-linter's contracts in pyproject.toml are kept."""
    command = shutil.which("lint-imports", path=str(Path(sys.executable).parent))
    assert command is not None, "import-linter is not installed: run `sh tests/run`"
    done = subprocess.run([command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_developers_draws_the_contracts_as_they_are() -> None:
    """The layers with the names of each line in any order, and every name of the pure set."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    told = text[text.index("## Who may import whom") : text.index("## Names and units")]
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers, pure = settings["tool"]["importlinter"]["contracts"]

    def named(lines: list[str]) -> list[set[str]]:
        return [set(re.findall(r"\w+", line)) for line in lines]

    assert named(told.split("```")[1].strip().splitlines()) == named(layers["layers"])
    paragraph = next(one for one in told.split("\n\n") if "are pure:" in one)
    names = [*pure["source_modules"], *pure["forbidden_modules"]]
    said = set(re.findall(r"\w+", paragraph))
    assert {part for name in names for part in name.split(".")} - {"monitor"} <= said


def test_files_and_functions_stay_small() -> None:
    """No file over 400 lines, no function over 60."""
    long: list[str] = []
    for path in [*modules(), *(ROOT / "tests").rglob("*.py"), *(ROOT / "demo").rglob("*.py")]:
        text = path.read_text(encoding="utf-8")
        if text.count("\n") > MOST_FILE_LINES:
            long.append(f"{path.relative_to(ROOT)}: {text.count(chr(10))} lines")
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = (node.end_lineno or 0) - node.lineno + 1
                if lines > MOST_FUNCTION_LINES:
                    long.append(
                        f"{path.relative_to(ROOT)}:{node.lineno} {node.name}: {lines} lines"
                    )
    assert long == []


def test_nothing_else_shows_at_the_top() -> None:
    """The top level is as fixed; dotfiles aside."""
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    shown = {line.split("/")[0] for line in tracked if not line.startswith(".")}
    assert shown <= TOP_LEVEL


def test_no_pickle_eval_or_shell() -> None:
    """Nothing runs text as code."""
    banned = {"eval", "exec", "pickle.loads", "pickle.load", "os.system", "yaml.load_all"}
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and dotted(node.func) in banned
    ]
    assert found == []
