"""The nouns as JSON text and back: only what differs from the default is written.

A value that is not finite is written as absent: missing numbers are None, never NaN.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, fields
from typing import Any, TypeVar

from monitor.errors import StoreError
from monitor.values import (
    AlarmCommand,
    AlarmKind,
    Bag,
    BookEntry,
    Condition,
    Estimate,
    Evidence,
    Facts,
    Probe,
    Reason,
    Record,
    Urgency,
)

Noun = Facts | AlarmCommand | BookEntry | Bag | Probe | Record | Estimate | Evidence
AnyNoun = TypeVar("AnyNoun", bound=Noun)

_DEFAULTS: Mapping[type, Mapping[str, Any]] = {
    kind: {
        field.name: field.default if field.default_factory is MISSING else field.default_factory()
        for field in fields(kind)
    }
    for kind in (Facts, AlarmCommand, BookEntry, Bag, Probe, Record, Estimate, Evidence)
}


def to_text(noun: Noun) -> str:
    """One line of JSON with sorted keys, so that equal nouns give equal text."""
    plain = {
        name: _plain(getattr(noun, name))
        for name, default in _DEFAULTS[type(noun)].items()
        if default is MISSING or getattr(noun, name) != default
    }
    return json.dumps(plain, sort_keys=True, ensure_ascii=True, separators=(",", ":"))


def from_text(kind: type[AnyNoun], text: str) -> AnyNoun:
    """The noun again. Raises StoreError when the text holds what this bagwatt doesn't know."""
    try:
        stored = json.loads(text)
        return kind(**{name: _revived(name, value) for name, value in stored.items()})
    except (TypeError, ValueError, AttributeError) as error:
        raise StoreError(
            f"store, a {kind.__name__}", f"can't be read back ({error})", "upgrade bagwatt"
        ) from error


def conditions_to_text(conditions: Sequence[Condition]) -> str:
    """Conditions as one line of JSON."""
    return json.dumps(
        [[one.kind, one.subject, one.urgency, one.reason, to_text(one.facts)] for one in conditions]
    )


def conditions_from_text(text: str) -> tuple[Condition, ...]:
    """The conditions again. Raises StoreError as `from_text` does."""
    return tuple(
        Condition(
            AlarmKind(kind), subject, Urgency(urgency), Reason(reason), from_text(Facts, facts)
        )
        for kind, subject, urgency, reason, facts in json.loads(text)
    )


def _plain(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    if isinstance(value, Mapping):
        return {str(key): _plain(part) for key, part in value.items()}
    item = getattr(value, "item", None)  # a numpy number, which json refuses
    return _plain(item()) if callable(item) else value


def _revived(name: str, value: Any) -> Any:
    if isinstance(value, list):
        return tuple(value)
    return Reason(value) if name == "reason" else value
