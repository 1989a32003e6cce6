"""The table of every setting in the README, made from the settings' own models.

`python -m tests.readme_table` writes it anew between its two marks.
"""

from __future__ import annotations

from pathlib import Path

from demo.command import parser_for
from monitor.settings.reference import reference_table

README = Path(__file__).resolve().parent.parent / "README.md"
BEGIN, END = "<!-- settings: begin -->", "<!-- settings: end -->"


def settings_table() -> str:
    """A Markdown table with a row for each key of both files."""
    rows = []
    for key, type_words, default, description in reference_table():
        shown = default if default in ("", "required") else f"`{default}`"
        rows.append(f"| `{key}` | {type_words} | {shown} | {description} |")
    return "\n".join(["| key | type | default | what |", "|---|---|---|---|", *rows])


def parts() -> tuple[str, str, str]:
    """README before, inside and after the marks."""
    before, rest = README.read_text(encoding="utf-8").split(BEGIN)
    inside, after = rest.split(END)
    return before, inside, after


if __name__ == "__main__":
    parser_for("tests.readme_table", __doc__).parse_args()
    before, _, after = parts()
    README.write_text(f"{before}{BEGIN}\n{settings_table()}\n{END}{after}", encoding="utf-8")
