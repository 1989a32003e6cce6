"""The README knows every command, option, setting, flag, refusal and reason."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import pytest

from monitor.cli import COMMANDS, build_parser
from monitor.cli.exits import EXIT_CODES
from monitor.page.login import hash_link, hash_password
from monitor.settings.load import load_settings
from monitor.settings.reference import reference_table
from monitor.values import AlarmKind, Flag, Reason, Refusal, Urgency
from tests.readme_table import parts, settings_table

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
#: What settings can't do without, and what most secrets may be.
LEAST = """\
room: {name: barn, timezone: UTC, band_low: 20 C, band_high: 25 C}
channels: none
store: {path: bagwatt.db}
"""
HASHED = hash_password("spores-and-straw")
QUOTED = set(re.findall(r"`([^`\n]+)`", README))


def options() -> list[str]:
    """Every option of every command, as `command --option`."""
    parser = build_parser()
    found = []
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, command in action.choices.items():
                for option in command._actions:
                    found += [
                        f"{name} {word}" for word in option.option_strings if word.startswith("--")
                    ]
    return [word for word in found if not word.endswith("--help")]


@pytest.mark.parametrize(
    "term",
    [*Flag, *Refusal, *Reason, *AlarmKind, *Urgency],
    ids=lambda term: f"{type(term).__name__}-{term}",
)
def test_readme_names_every_term(term: str) -> None:
    """A flag, refusal, reason, alarm kind or urgency that may be shown is explained."""
    assert str(term) in QUOTED


@pytest.mark.parametrize("name", COMMANDS)
def test_readme_names_every_command(name: str) -> None:
    """A command without a line in the README can't be found."""
    assert f"`bagwatt {name}" in README


@pytest.mark.parametrize("option", options())
def test_readme_names_every_option(option: str) -> None:
    """Every option stands in the row of its command."""
    command, word = option.split()
    rows = [line for line in README.splitlines() if line.startswith(f"| `bagwatt {command}")]
    assert any(word in row for row in rows)


@pytest.mark.parametrize("code", EXIT_CODES)
def test_readme_names_every_exit_code(code: int) -> None:
    """A script writer looks them up."""
    paragraph = README[README.index("Exit codes:") :].split("\n\n")[0]
    assert re.search(rf"\b{code:d} [a-z]", paragraph)


def test_settings_table_in_readme_is_current() -> None:
    """The table is made from the models: `python -m tests.readme_table` writes it anew."""
    assert parts()[1].strip() == settings_table()


@pytest.mark.parametrize("example", re.findall(r"```yaml\n(.*?)```", README, re.DOTALL))
def test_every_example_of_settings_in_readme_is_understood(example: str, tmp_path: Path) -> None:
    """Each by itself, as somebody copies it; a list's item goes on with the one before."""
    head = "" if example[0] != " " else "sources:\n"
    (tmp_path / "monitor.yaml").write_text(LEAST + head + example, encoding="utf-8")
    (tmp_path / "strains.yaml").write_text("strains: {GO-12: {}}\n", encoding="utf-8")
    made = {"page-phone": hash_link("a link"), "numbers": "0f" * 24, "ca.pem": ""}
    for name in re.findall(r"secrets/([\w.-]+)", example):
        path = tmp_path / "secrets" / name
        path.parent.mkdir(exist_ok=True)
        path.touch(mode=0o600)
        path.write_text(made.get(name, HASHED), encoding="utf-8")
    assert load_settings(tmp_path, {}).room.name == "barn"


def test_every_setting_has_a_description() -> None:
    """The table is worth reading."""
    assert [key for key, _, _, description in reference_table() if not description.strip()] == []


def test_help_of_every_command_says_what_it_does() -> None:
    """`bagwatt --help` lists every command with its line, and the exit codes."""
    text = " ".join(build_parser().format_help().split())
    assert [line for line in COMMANDS.values() if line not in text] == []
    assert "130" in text
