"""JSON text to values, with limits: size, depth and no key twice (RFC 8259, RFC 7493)."""

from __future__ import annotations

import json
from typing import Any

from jsonpointer import EndOfList, JsonPointer, JsonPointerException

from monitor.sources.numbers import UnreadableError, shown, text_of
from monitor.values import Refusal

DEEPEST = 16


def read_json(raw: bytes) -> object:
    """The value that `raw` holds.

    NaN and Infinity come through as floats, so that a dead humidity element does not cost the
    temperature beside it; `number_in_json` refuses them where they are used.
    Raises UnreadableError: too long, not text, empty, too deep, duplicate key, not JSON.
    """
    text = text_of(raw)
    _check_depth(text)
    try:
        value: object = json.loads(text, object_pairs_hook=_unique, parse_constant=float)
    except ValueError as error:
        raise UnreadableError(Refusal.NOT_JSON, f"{error}: {shown(text)}") from None
    return value


def look_up(pointer: JsonPointer, document: object) -> object:
    """The value a JSON Pointer (RFC 6901) leads to; raises UnreadableError (missing field)."""
    value: Any = document
    try:
        for part in pointer.parts:
            value = pointer.walk(value, part)
    except JsonPointerException as error:
        raise UnreadableError(Refusal.MISSING_FIELD, f"{pointer.path or '/'}: {error}") from None
    if isinstance(value, EndOfList):  # "-" names the place after the last: never a value
        raise UnreadableError(Refusal.MISSING_FIELD, pointer.path)
    found: object = value
    return found


def _unique(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise UnreadableError(Refusal.DUPLICATE_KEY, shown(twice))
    return found


def _check_depth(text: str) -> None:
    """Refuse deep nesting before the parser recurses into it."""
    depth = 0
    in_string = escaped = False
    for character in text:
        if in_string:
            if escaped:
                escaped = False
            elif character == "\\":
                escaped = True
            elif character == '"':
                in_string = False
        elif character == '"':
            in_string = True
        elif character in "[{":
            depth += 1
            if depth > DEEPEST:
                raise UnreadableError(Refusal.TOO_DEEP, f"nested deeper than {DEEPEST}")
        elif character in "]}":
            depth -= 1
