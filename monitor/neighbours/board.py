"""What a room shows on the broker, and what of it is still to be sent; pure.

For each topic only the newest payload waits. What the broker holds already is not sent again;
what is not to be there any more is emptied. Packs that nobody keeps wait in a row of their own.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import blake2b

#: So many may be on their way at once, as brokers take by default.
MOST_IN_FLIGHT = 20
#: Packs that wait; the oldest go.
MOST_PACKS = 200
EMPTY = b""


@dataclass(frozen=True, slots=True)
class Post:
    """A message to be sent."""

    topic: str
    payload: bytes
    keep: bool


class Board:
    """The messages of one room. Until `begin` nothing is sent: what stands there is found first."""

    def __init__(self) -> None:
        self._shown: Mapping[str, bytes] | None = None
        self._there: dict[str, bytes] = {}  # topic: digest of what the broker holds
        self._waiting: dict[str, None] = {}
        self._in_flight: dict[int, Post] = {}
        self._packs: deque[Post] = deque(maxlen=MOST_PACKS)
        self._open = False
        self.refused: dict[str, str] = {}

    @property
    def waiting(self) -> int:
        """How many messages are not with the broker yet."""
        return len(self._waiting) + len(self._in_flight) + len(self._packs)

    @property
    def keeping(self) -> bool:
        """Whether anything that is to stand on the broker is not there yet."""
        moving = any(post.keep for post in self._in_flight.values())
        return bool(self._waiting or moving or self.refused) or not self._open

    def seek(self) -> None:
        """Send nothing more; what the broker holds is to be found anew."""
        self._open = False
        self._there, self._in_flight = {}, {}
        self._waiting.clear()
        self._packs.clear()

    def found(self, topic: str, payload: bytes) -> None:
        """The broker holds this."""
        if payload:
            self._there[topic] = _digest(payload)
        else:
            self._there.pop(topic, None)

    def begin(self) -> None:
        """All is found: send what is missing, empty what is too much."""
        self._open = True
        self._compare()

    def show(self, messages: Mapping[str, bytes]) -> None:
        """All that is to stand on the broker from now on, in the order of its weight."""
        self._shown = dict(messages)
        self.refused.clear()
        if self._open:
            self._compare()

    def pack(self, topic: str, payload: bytes) -> None:
        """One more message that nobody keeps."""
        if self._open:
            self._packs.append(Post(topic, payload, False))

    def _compare(self) -> None:
        if self._shown is None:
            return
        moving = {post.topic: post.payload for post in self._in_flight.values() if post.keep}
        gone = [topic for topic in (*self._there, *moving) if topic not in self._shown]
        self._waiting = dict.fromkeys(
            topic
            for topic in (*self._shown, *gone)
            if not self._holds(topic, self._shown.get(topic, EMPTY), moving)
        )

    def _holds(self, topic: str, payload: bytes, moving: Mapping[str, bytes]) -> bool:
        """Whether the broker holds this, or will once what is on its way arrives."""
        if topic in moving:
            return moving[topic] == payload
        return self._there.get(topic) == (_digest(payload) if payload else None)

    def next(self) -> Post | None:
        """What may be sent now; `sent` must follow."""
        if not self._open or self._shown is None or len(self._in_flight) >= MOST_IN_FLIGHT:
            return None
        moving = {post.topic for post in self._in_flight.values() if post.keep}
        topic = next((one for one in self._waiting if one not in moving), None)
        if topic is not None:
            del self._waiting[topic]
            return Post(topic, self._shown.get(topic, EMPTY), True)
        return self._packs.popleft() if self._packs else None

    def sent(self, number: int, post: Post) -> None:
        """It is on its way under this number."""
        self._in_flight[number] = post

    def answered(self, number: int, refusal: str) -> None:
        """The broker has it, or refuses it: then it is not tried again until the next show."""
        post = self._in_flight.pop(number, None)
        if post is None:
            return
        if refusal:
            self.refused[post.topic] = refusal
        elif post.keep:
            self.found(post.topic, post.payload)


def _digest(payload: bytes) -> bytes:
    return blake2b(payload, digest_size=16).digest()
