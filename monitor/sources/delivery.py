"""What an MQTT connection has to remember about deliveries. Pure; the caller locks.

Acknowledgements go out in order of arrival (MQTT 5.0, section 4.6), and what arrives before the
broker's queue for us has drained may be hours old.
"""

from __future__ import annotations

from collections import deque
from hashlib import blake2b

#: Without a pulse coming back, this long a lull with nothing left to acknowledge [s] means that
#: the broker has no more for us.
LULL_S = 2.0


class AckWindow:
    """Messages of one connection that still have to be acknowledged."""

    def __init__(self) -> None:
        self._waiting: deque[int] = deque()
        self._done: set[int] = set()

    def __len__(self) -> int:
        return len(self._waiting)

    def received(self, mid: int) -> None:
        self._waiting.append(mid)

    def done(self, mid: int) -> list[int]:
        """Message ids that may be acknowledged now that `mid` is kept, in order."""
        self._done.add(mid)
        ready: list[int] = []
        while self._waiting and self._waiting[0] in self._done:
            ready.append(self._waiting.popleft())
            self._done.discard(ready[-1])
        return ready


class Backlog:
    """Whether messages of one connection may have waited at the broker.

    They may when the broker kept a session for us, until our own pulse, queued behind them,
    has come back; failing that, until a lull. Times are life seconds on a steady clock.
    """

    def __init__(self, session_present: bool, pulse: bytes, now_s: float) -> None:
        self._pending = session_present
        self._pulse = pulse
        self.since_s = now_s
        self._last_s = now_s
        self.pulse_back = False

    @property
    def pulse(self) -> bytes:
        """What to publish to oneself; unlike that of any other connection."""
        return self._pulse

    def pulse_came(self, payload: bytes) -> None:
        """A pulse arrived; those of earlier connections were themselves kept by the broker."""
        if payload == self._pulse:
            self.pulse_back = True
            self._pending = False

    def message_came(self, unacknowledged: int, now_s: float) -> bool:
        """Whether this message may have waited."""
        if unacknowledged == 0 and now_s - self._last_s >= LULL_S:
            self._pending = False
        self._last_s = now_s
        return self._pending

    def acknowledged(self, now_s: float) -> None:
        """We acknowledged something: until now the broker may have been waiting for us."""
        self._last_s = now_s

    def pulse_overdue(self, now_s: float, patience_s: float) -> bool:
        """Whether the pulse should be back by now."""
        return not self.pulse_back and now_s - self.since_s > patience_s


def delivery_key(session: str, mid: int, topic: str, payload: bytes) -> str:
    """The same for one message delivered twice, different for two equal readings.

    A broker keeps the message id over reconnects, so a message that was stored but whose
    acknowledgement got lost comes again with it; two honest equal readings have two ids. Ids
    start anew with a new session and come round after 65,535 messages: hence `session`, and
    hence keys are to be kept for some thousand messages only. The DUP flag proves nothing:
    brokers set it on what they merely queued.
    """
    digest = blake2b(digest_size=8)
    digest.update(topic.encode("utf-8", "surrogatepass"))
    digest.update(b"\0")
    digest.update(payload)
    return f"{session}:{mid}:{digest.hexdigest()}"
