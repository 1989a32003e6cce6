"""Reads what stands on the command line, in the units of the settings files."""

from __future__ import annotations

import argparse
import getpass
import os
from pathlib import Path

from monitor.errors import WordError


def duration_argument(text: str) -> float:
    """`30 min`, `12 h`, `2 d` as seconds; a fault is argparse's to tell."""
    from pydantic import TypeAdapter, ValidationError  # noqa: PLC0415

    from monitor.settings.units import DurationS  # noqa: PLC0415

    if text.strip().isdecimal() and int(text):
        says = f"{text} of what? write a duration such as `20 s`, `30 min`, `12 h` or `2 d`"
        raise argparse.ArgumentTypeError(says)
    try:
        return TypeAdapter(DurationS).validate_python(text)
    except ValidationError as error:
        says = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise argparse.ArgumentTypeError(says) from error


def mass_argument(text: str) -> float:
    """Kilograms as a number, with or without their sign."""
    try:
        return float(text.strip().removesuffix("kg"))
    except ValueError as error:
        says = f"`{text}` is no mass: write kilograms such as 2.3"
        raise argparse.ArgumentTypeError(says) from error


def user_name() -> str:
    """Who sits at this terminal, also behind `sudo`; empty where nobody has a name."""
    try:
        return os.environ.get("SUDO_USER") or getpass.getuser()
    except (KeyError, OSError):
        return ""


def no_block(config_dir: Path, block: str, so: str, section: str) -> WordError:
    """A command asks for a block that the settings lack; a section of the README shows one."""
    what = f"it has no block `{block}`, so {so}"
    return WordError(str(config_dir / "monitor.yaml"), what, f"README.md, `{section}`, shows one")
