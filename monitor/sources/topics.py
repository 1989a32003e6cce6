"""Topic patterns: what to subscribe to, which messages are meant and what their topic tells."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TopicPattern:
    """A pattern such as `barn/+/{probe}/temp`: captures stand for one level and are read.

    `filter` is the MQTT topic filter to subscribe to (MQTT 5.0, section 4.7).
    """

    filter: str
    _expression: re.Pattern[str]

    @classmethod
    def compile(cls, pattern: str) -> TopicPattern:
        """From a pattern that `monitor.settings` has found to be sound."""
        levels = pattern.split("/")
        filtered = "/".join("+" if level.startswith("{") else level for level in levels)
        rest = ""
        if levels[-1] == "#":  # fits the level above it too, so its slash is optional
            rest = "(?:/.*)?" if levels[:-1] else ".*"
            levels.pop()
        expression = "/".join(_level(level) for level in levels) + rest
        if filtered[0] in "+#":  # a wildcard first does not fit `$SYS` (section 4.7.2)
            expression = r"(?!\$)" + expression
        return cls(filtered, re.compile(expression, re.DOTALL))

    def match(self, topic: str) -> dict[str, str] | None:
        """What the topic's levels capture; None where the pattern does not fit."""
        found = self._expression.fullmatch(topic)
        return None if found is None else found.groupdict()


def _level(level: str) -> str:
    if level == "+":
        return "[^/]*"
    if level.startswith("{"):
        return f"(?P<{level[1:-1]}>[^/]+)"
    return re.escape(level)
