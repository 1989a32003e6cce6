"""Channels that fail in every way they may, and the real outbox turned by hand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path

from monitor.channels import Answer, Channel
from monitor.clock import Clock
from monitor.errors import StoreError
from monitor.outbox import Quiet, Sender
from monitor.store import Store
from monitor.values import Message, Verdict
from tests.simulation.world import World

MOODS = ("ok", "ok", "ok", "down", "late", "raises", "refuses")


class FlakyChannel:
    """`late`: the message arrives, the answer does not. What was taken late is known again
    until the process ends, as the real channel knows it."""

    def __init__(self, world: World, recipient: str) -> None:
        self._world = world
        self.recipient = recipient
        self.mood = "ok"
        self.arrived: Counter[str] = Counter()
        self.refused: set[str] = set()
        self._late: set[str] = set()

    def send(self, message: Message, taken: frozenset[str] = frozenset()) -> Answer:
        identity = message.message_id
        if self.mood == "raises":
            raise RuntimeError("a plugin's fault")
        if identity in self._late:
            return Answer(Verdict.DELIVERED, "delivered late")
        if self.mood == "refuses":
            self.refused.add(identity)
            return Answer(Verdict.REFUSED, "unknown address")
        if self.mood == "down":
            return Answer(Verdict.TRY_AGAIN, "answered 503")
        self.arrived[identity] += 1
        if self.mood == "late":
            self._late.add(identity)
            return Answer(Verdict.TRY_AGAIN, "no answer in 25 s")
        return Answer(Verdict.DELIVERED, "delivered")

    def forget(self) -> None:
        """The process ended: what was taken late is not known any more."""
        self._late.clear()


class HandTurnedSender(Sender):
    """The real outbox without its thread; a try ends some virtual seconds after its beginning."""

    def __init__(
        self,
        world: World,
        path: Path,
        channels: Mapping[str, Channel],
        clock: Clock,
        quiet: Quiet = lambda name, now_s: False,
    ) -> None:
        super().__init__(path, channels, clock, quiet, self._later)
        self.world = world
        self._path_now, self._now = path, clock
        self._store: Store | None = None
        self._gone = False

    def start(self) -> None:
        self._store = Store.open(self._path_now, self._now.wall_s(), check=False)

    def step(self) -> None:
        """One turn; a store that can't be written is tried again at the next."""
        if self._store is None:
            return
        try:
            self.turn(self._store, self._now.wall_s())
        except StoreError:
            self.world.tell("the outbox can't be written", fault=False)

    def wake(self) -> None:
        """It is turned at every step anyway."""

    def stop(self, limit_s: float = 0.0) -> None:
        """Another thread asks; it is abandoned by the one that opened its store."""

    def abandon(self) -> None:
        self._gone = True
        if self._store is not None:
            self._store.close()
            self._store = None

    def _later(self, work: Callable[[], None]) -> None:
        slow = self.world.chance.random() < 0.1
        self.world.after(self.world.chance.uniform(0.0, 25.0 if slow else 1.0), self._alive(work))

    def _alive(self, work: Callable[[], None]) -> Callable[[], None]:
        """A try of a process that has ended may have got through all the same."""

        def run() -> None:
            if not self._gone or self.world.chance.random() < 0.5:
                work()

        return run
