"""Numbers and names out of bytes, strictly: what is not plainly a number is refused by name.

Python's own `float` takes "nan", "inf", "1e400" and "1_000", and `True` counts as 1; none of
these may become a temperature.
"""

from __future__ import annotations

import math
import re

from monitor.values import Refusal

#: No probe needs more; longer messages are refused unread.
LONGEST_PAYLOAD = 4096
LONGEST_NAME = 120

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_BOOLEANS = frozenset({"true", "false", "on", "off", "yes", "no"})
_NOTHINGS = frozenset({"null", "none", "nil"})


class UnreadableError(Exception):
    """What was sent is no reading: why, in a word, and what was seen."""

    def __init__(self, reason: Refusal, detail: str) -> None:
        self.reason = reason
        self.detail = detail
        super().__init__(f"{reason}: {detail}")


def shown(value: object) -> str:
    """`value` for a person: quoted, control characters escaped, at most about 40 characters."""
    text = repr(value[:60] if isinstance(value, str | bytes) else value)
    return text if len(text) <= 42 else text[:39] + "…" + text[0]


def text_of(raw: bytes) -> str:
    """UTF-8 text, byte order mark and blanks around it removed.

    Raises UnreadableError: too long (over 4096 bytes), not text, empty.
    """
    if len(raw) > LONGEST_PAYLOAD:
        raise UnreadableError(Refusal.TOO_LONG, f"over {LONGEST_PAYLOAD} bytes")
    try:
        text = raw.decode("utf-8").removeprefix("\ufeff").strip()
    except UnicodeDecodeError as error:
        raise UnreadableError(Refusal.NOT_TEXT, f"byte {error.start} is not UTF-8") from None
    if not text:
        raise UnreadableError(Refusal.EMPTY, "nothing sent")
    return text


def number_in_text(text: str) -> float:
    """A finite decimal number and nothing else; raises UnreadableError naming why not."""
    text = text.strip()
    if not text:
        raise UnreadableError(Refusal.EMPTY, "nothing sent")
    if _NUMBER.fullmatch(text):
        return _finite(float(text), text)
    if _NOT_FINITE.fullmatch(text):
        raise UnreadableError(Refusal.NOT_FINITE, shown(text))
    if text.casefold() in _BOOLEANS:
        raise UnreadableError(Refusal.BOOLEAN, shown(text))
    if text.casefold() in _NOTHINGS:
        raise UnreadableError(Refusal.NULL, shown(text))
    raise UnreadableError(Refusal.NOT_A_NUMBER, shown(text))


def number_in_json(value: object) -> float:
    """A finite number from a decoded JSON value; a number sent as a string is one too."""
    if value is None:
        raise UnreadableError(Refusal.NULL, "null")
    if isinstance(value, bool):
        raise UnreadableError(Refusal.BOOLEAN, shown(value))
    if isinstance(value, str):
        return number_in_text(value)
    if isinstance(value, int | float):
        try:
            return _finite(float(value), value)
        except OverflowError:  # an integer beyond 1.8e308
            raise UnreadableError(Refusal.NOT_FINITE, "an integer beyond any number") from None
    raise UnreadableError(Refusal.NOT_A_NUMBER, shown(value))


def probe_name(value: object) -> str:
    """A probe's name from a topic, a line or a JSON value; raises UnreadableError where it is none.

    Unprintable characters are refused because names end up in alerts, and lone surrogates
    cannot even be stored.
    """
    if isinstance(value, int) and not isinstance(value, bool):
        value = str(value) if abs(value) < 10**18 else ""
    if not isinstance(value, str) or not value.strip():
        raise UnreadableError(Refusal.MISSING_FIELD, f"no probe name: {shown(value)}")
    name = value.strip()
    if len(name) > LONGEST_NAME or not name.isprintable():
        raise UnreadableError(Refusal.NOT_TEXT, f"no probe name: {shown(name)}")
    return name


def _finite(number: float, sent: object) -> float:
    if not math.isfinite(number):
        raise UnreadableError(Refusal.NOT_FINITE, shown(sent))
    return number
