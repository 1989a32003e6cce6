"""Examples of output in the README, so that tests hold them against what is said today."""

from __future__ import annotations

import re
from pathlib import Path

README = (Path(__file__).resolve().parent.parent / "README.md").read_text(encoding="utf-8")


def squashed(text: str) -> str:
    """The text with each stretch of white space as one space: where lines break is no matter."""
    return " ".join(text.split())


def example(heading: str) -> list[str]:
    """The first output shown under a heading, squashed: its parts around each `…`."""
    section = re.split(rf"^#+ {re.escape(heading)}$", README, maxsplit=1, flags=re.MULTILINE)[1]
    block = re.split(r"^```.*$", section, maxsplit=2, flags=re.MULTILINE)[1]
    told = re.sub(r"^\$ .*$", "", block, flags=re.MULTILINE)
    return [squashed(part) for part in told.split("…") if part.strip()]


def missing(heading: str, output: str) -> list[str]:
    """What the README shows under a heading and the output does not have."""
    return [part for part in example(heading) if part not in squashed(output)]
