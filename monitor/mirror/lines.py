"""Points as lines of the InfluxDB line protocol: floats only, times in whole milliseconds."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache

#: What would end a tag is escaped. A backslash is not: servers differ in what they make of one.
_ESCAPED = str.maketrans({",": "\\,", "=": "\\=", " ": "\\ ", "\\": "/"})


def line(
    measurement: str, tags: Mapping[str, str], fields: Mapping[str, float | None], at_s: float
) -> str:
    """One point, or an empty text where no field has a number.

    Absent fields (None, or not finite) and empty tags are left out, as servers refuse them. A
    float is always written with a point: a server takes a field's type from its first value.
    """
    numbers = [
        f"{name}={float(value)!r}"
        for name, value in fields.items()
        if value is not None and math.isfinite(value)
    ]
    if not numbers:
        return ""
    written = [(name, tag(text)) for name, text in sorted(tags.items())]
    words = [f"{name}={text}" for name, text in written if text]
    return f"{','.join([measurement, *words])} {','.join(numbers)} {round(at_s * 1000)}"


@lru_cache(maxsize=4096)
def tag(text: str) -> str:
    """A tag's value as the protocol has it: no control signs, no space at its ends."""
    printable = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(printable.split()).translate(_ESCAPED)
