"""The newest tuning of each strain, kept beside the store for the page to show.

`STORE.evidence/tuning-….json`: a line that says of which strain and when, then the sheets by
units, as `review.tune_sheet.sheet_of` gives them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from monitor.errors import StoreError
from monitor.recount_file import evidence_folder, owned_like

FORMAT = 1


@dataclass(frozen=True, slots=True)
class KeptTuning:
    """Which strain, when it was worked out, and its sheets by units ("C", "F")."""

    strain: str
    at_s: float
    sheets: Mapping[str, Any]


def keep_tuning(store: Path, strain: str, at_s: float, sheets: Mapping[str, Any]) -> None:
    """Put a tuning in place of the strain's last one. Raises StoreError."""
    folder = evidence_folder(store)
    path = _path(store, strain)
    fresh = path.with_name(path.name + ".new")
    head = {"format": FORMAT, "strain": strain, "at_s": at_s}
    text = f"{json.dumps(head)}\n{json.dumps(sheets, ensure_ascii=False)}\n"
    try:
        folder.mkdir(exist_ok=True)
        fresh.write_text(text, encoding="utf-8")
        fresh.replace(path)
        owned_like(folder, store)
        owned_like(path, store)
    except OSError as error:
        what = f"can't be written ({error.strerror})"
        raise StoreError(str(folder), what, "see who owns it") from error


def kept_tuning(store: Path, strain: str) -> KeptTuning | None:
    """The strain's last tuning; None where there is none that can be understood."""
    return _read(_path(store, strain), whole=True)


def kept_tunings(store: Path) -> dict[str, float]:
    """When each strain was tuned last, by name."""
    paths = sorted(evidence_folder(store).glob("tuning-*.json"))
    found = [one for path in paths if (one := _read(path, whole=False)) is not None]
    return {one.strain: one.at_s for one in found}


def _path(store: Path, strain: str) -> Path:
    """A name of its own for every strain, whatever signs it is written in."""
    return evidence_folder(store) / f"tuning-{sha256(strain.encode()).hexdigest()[:16]}.json"


def _read(path: Path, *, whole: bool) -> KeptTuning | None:
    try:
        with path.open(encoding="utf-8") as file:
            head = json.loads(file.readline())
            if head["format"] != FORMAT:
                return None
            sheets = json.loads(file.readline()) if whole else {}
        return KeptTuning(str(head["strain"]), float(head["at_s"]), sheets)
    except (OSError, ValueError, LookupError, TypeError):
        return None
