"""Reads the faulty files in `bad/`: what each first lines foretell, and the text after them."""

from __future__ import annotations

from pathlib import Path

BAD = Path(__file__).parent / "bad"


def bad_files() -> dict[str, tuple[list[str], str]]:
    """For each file's name, the foretold problems and the settings text."""
    found: dict[str, tuple[list[str], str]] = {}
    for path in sorted(BAD.glob("*.yaml")):
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        marks = [line for line in lines if line.startswith("# says: ")]
        says = [line.removeprefix("# says: ").strip() for line in marks]
        found[path.stem] = (says, "".join(lines[len(says) :]))
    return found
