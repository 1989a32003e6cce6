"""Reads what stands on the command line, in the units of the settings files."""

from __future__ import annotations

import argparse
import getpass


def duration_argument(text: str) -> float:
    """`30 min`, `12 h`, `2 d` as seconds; a fault is argparse's to tell."""
    from pydantic import TypeAdapter, ValidationError  # noqa: PLC0415

    from monitor.settings.units import DurationS  # noqa: PLC0415

    try:
        return TypeAdapter(DurationS).validate_python(text)
    except ValidationError as error:
        raise argparse.ArgumentTypeError(error.errors()[0]["msg"]) from error


def user_name() -> str:
    """Who sits at this terminal; empty where nobody has a name."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""
