"""The topics under which a room tells how it stands, there and back.

```
<prefix>/<room>/summary              retained   the room in one message
<prefix>/<room>/claim/<instance>     retained   who watches the room; emptied by its last will
<prefix>/<room>/alarms/<alarm id>    retained   a standing alarm; emptied when it ends
<prefix>/<room>/bags/<bag>           retained   how a bag stands; emptied when it leaves
<prefix>/<room>/senml                           readings as they come, where set
```

A name becomes one level: what MQTT forbids in a topic or gives a meaning (`/ + # $`, control
characters, what is no character) is percent-encoded as its UTF-8 bytes, `%` too; spaces and
umlauts stay. So every name has one topic, and no two names share one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import unquote

DEFAULT_PREFIX = "bagwatt/rooms"
#: MQTT takes 65,535; a name that makes more than this is a mistake.
LONGEST_TOPIC_BYTES = 2_000
#: `/ + # $ %`, control characters, and the non-characters that brokers refuse (MQTT 5, 1.5.4).
_ENCODED = re.compile("[/+#$%\\x00-\\x1f\\x7f-\\x9f\\ufdd0-\\ufdef\\ufffe\\uffff]")


class Part(StrEnum):
    """What a topic of a room tells."""

    SUMMARY = "summary"
    CLAIM = "claim"
    ALARM = "alarms"
    BAG = "bags"
    SENML = "senml"


#: Those that tell of one thing each, by its name as the last level.
_NAMED = frozenset({Part.CLAIM, Part.ALARM, Part.BAG})


@dataclass(frozen=True, slots=True)
class RoomTopic:
    """A topic taken apart: `name` is the instance, alarm id or bag, empty for the others."""

    room: str
    part: Part
    name: str = ""


@dataclass(frozen=True, slots=True)
class Topics:
    """All topics under one prefix."""

    prefix: str = DEFAULT_PREFIX

    def summary(self, room: str) -> str:
        return self._of(room, Part.SUMMARY)

    def claim(self, room: str, instance: str) -> str:
        return self._of(room, Part.CLAIM, instance)

    def alarm(self, room: str, alarm_id: str) -> str:
        return self._of(room, Part.ALARM, alarm_id)

    def bag(self, room: str, bag: str) -> str:
        return self._of(room, Part.BAG, bag)

    def senml(self, room: str) -> str:
        return self._of(room, Part.SENML)

    def named_of(self, room: str, part: Part) -> str:
        """The filter for a room's topics of a part that has names, such as all claims to it."""
        return self._of(room, part) + "/+"

    def every_summary(self) -> str:
        """The filter for the summaries of all rooms."""
        return f"{self.prefix}/+/{Part.SUMMARY}"

    def every_claim(self) -> str:
        """The filter for the claims to all rooms."""
        return f"{self.prefix}/+/{Part.CLAIM}/+"

    def parse(self, topic: str) -> RoomTopic | None:
        """What a topic tells of; None where it is none of ours, or not written as we write it."""
        if not topic.startswith(f"{self.prefix}/"):
            return None
        levels = topic.removeprefix(f"{self.prefix}/").split("/")
        if len(levels) not in (2, 3) or levels[1] not in set(Part):
            return None
        part = Part(levels[1])
        if (len(levels) == 3) != (part in _NAMED):
            return None
        room, name = decoded(levels[0]), decoded(levels[2]) if part in _NAMED else ""
        if not room or name is None or (part in _NAMED and not name):
            return None
        return RoomTopic(room, part, name)

    def _of(self, room: str, part: Part, name: str = "") -> str:
        topic = f"{self.prefix}/{encoded(room)}/{part}"
        return f"{topic}/{encoded(name)}" if name else topic


def encoded(name: str) -> str:
    """A name as one level of a topic."""
    return _ENCODED.sub(lambda sign: _percent(sign.group()), name)


def decoded(level: str) -> str | None:
    """The name of a level; None where `encoded` would not have written it so."""
    try:
        name = unquote(level, errors="strict")
    except UnicodeDecodeError:
        return None
    return name if encoded(name) == level else None


def sendable(topic: str) -> bool:
    """Whether a topic is no longer than anybody would call a thing."""
    return len(topic.encode()) <= LONGEST_TOPIC_BYTES


def _percent(sign: str) -> str:
    return "".join(f"%{byte:02X}" for byte in sign.encode("utf-8"))
