"""What every settings model shares: frozen, unknown keys refused, file keys without units.

Inside, names carry their unit (`band_hold_s`); in the file the value does (`band_hold: 30 min`),
so the key there is the name without it. Python code uses the names, files the keys.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

_UNIT_SUFFIX = re.compile(r"_(k_per_h|minute|c|k|s|h|d)(?=$|_sd$)")

#: One step into the file is a key or an index.
Way = tuple[str | int, ...]

Name = Annotated[
    str,
    Field(min_length=1, max_length=64, pattern=r"^[^\s\x00-\x1f]([^\x00-\x1f]*[^\s\x00-\x1f])?$"),
]


def file_key(name: str) -> str:
    """The key in the file for a field's name: `band_hold_s` is `band_hold`."""
    return _UNIT_SUFFIX.sub("", name)


class Model(BaseModel):
    """Base of all settings."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        alias_generator=file_key,
        validate_by_name=True,
        validate_by_alias=True,
        arbitrary_types_allowed=True,
        hide_input_in_errors=True,
    )


class FaultsError(ValueError):
    """Several faults found by one check: each the way from the checked part, and what to do."""

    def __init__(self, *items: tuple[Way, str]) -> None:
        self.items = items
        super().__init__("; ".join(text for _, text in items))


def raise_faults(items: list[tuple[Way, str]]) -> None:
    """Raise what a check gathered, if anything."""
    if items:
        raise FaultsError(*items)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """`; did you mean …?` where one of `known` comes close to `word`, else an empty text."""
    by_lower = {name.lower(): name for name in known}
    close = difflib.get_close_matches(word.lower()[:200], by_lower, n=1, cutoff=0.6)
    return f"; did you mean `{by_lower[close[0]]}`?" if close else ""
