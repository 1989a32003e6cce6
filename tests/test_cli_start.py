"""What a command loads before it begins: on a Pi each module is felt."""

from __future__ import annotations

import subprocess
import sys

import pytest

from monitor.cli import COMMANDS

SCRIPT = """
import sys
from monitor.cli import main
try:
    main(sys.argv[1:])
finally:
    print("loaded", *sorted(name for name in sys.modules if name.startswith("monitor.cli.")))
"""


def loaded(*words: str) -> set[str]:
    """The commands whose modules were loaded."""
    command = [sys.executable, "-c", SCRIPT, *words]
    said = subprocess.run(command, capture_output=True, text=True, check=False).stdout
    modules = said.rpartition("loaded")[2].split()
    return {name.removeprefix("monitor.cli.") for name in modules} & set(COMMANDS)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("watch", "--help"), {"watch"}),
        (("--version",), set()),
        (("--help",), set()),
        (("nonsense",), set()),
    ],
)
def test_a_command_loads_no_other_command(words: tuple[str, ...], expected: set[str]) -> None:
    assert loaded(*words) == expected


def test_watch_begins_without_what_few_rooms_need() -> None:
    """The web server, pictures, the solver and the wires are loaded by who uses them."""
    script = "import monitor.live, sys; print(*sys.modules)"
    said = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    heavy = {"scipy", "apprise", "paho", "serial", "uvicorn", "starlette", "jinja2", "matplotlib"}
    modules = said.stdout.split()
    assert not heavy & {name.partition(".")[0] for name in modules}
    assert "monitor.review.night" not in modules  # told once a day
