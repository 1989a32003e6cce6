"""What a channel is: something that takes one message for one person and says how it went."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from monitor.values import Message, Verdict


@dataclass(frozen=True, slots=True)
class Answer:
    """How one attempt went. `taken` marks the addresses that have the message by now.

    `detail` is fit for a log and a page: it never holds a URL or a secret.
    """

    verdict: Verdict
    detail: str
    taken: frozenset[str] = frozenset()


class Channel(Protocol):
    """A way to one person. `send` blocks for a bounded time, and never raises."""

    @property
    def recipient(self) -> str: ...

    def send(self, message: Message, taken: frozenset[str] = frozenset()) -> Answer:
        """Try once, leaving out the addresses in `taken`, which have the message already."""
        ...
