"""The delivery loop: one thread with a store connection of its own, one try per person.

A message is settled only after its channel said so, so a kill in between sends it again under
the same id: at least once, never under a second id. Each person's try runs in its own thread,
so that a channel that hangs holds up nobody else.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from queue import Empty, Full, Queue

from monitor.channels import Answer, Channel
from monitor.clock import Clock, process_seconds
from monitor.errors import StoreError
from monitor.outbox import routing
from monitor.store import OutboxRow, Store
from monitor.store.deliveries import DELIVERED, EXPIRED, REFUSED, WAITING
from monitor.values import Verdict

FAILING_AFTER = 3
LONGEST_WAIT_S = 5.0
SHORTEST_WAIT_S = 0.05
STORE_BACK_OFF_S = 5.0
_ROWS_AT_ONCE = 50

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ChannelHealth:
    """How one person's channel does. `failures` in a row; `since_s` the first of them."""

    recipient: str
    failures: int = 0
    refused: bool = False
    since_s: float | None = None
    delivered_s: float | None = None
    detail: str = ""

    @property
    def failing(self) -> bool:
        """Worth an alarm: refused, or failed several times in a row."""
        return self.refused or self.failures >= FAILING_AFTER


@dataclass(frozen=True, slots=True)
class _Ended:
    """A try that came back."""

    message_ids: tuple[str, ...]
    recipient: str
    attempts: int
    answer: Answer


def _in_a_thread(work: Callable[[], None]) -> None:
    threading.Thread(target=work, name="delivery", daemon=True).start()


class Sender:
    """Takes due messages from the store's outbox to their channels until it is stopped."""

    def __init__(
        self,
        path: Path,
        channels: Mapping[str, Channel],
        clock: Clock,
        quiet: routing.Quiet = lambda name, now_s: False,
        spawn: Callable[[Callable[[], None]], None] = _in_a_thread,
    ) -> None:
        """`quiet` hours hold what waited for a channel as well; `spawn` has a try run beside the
        loop, and must not wait for it."""
        self._quiet = quiet
        self._spawn = spawn
        self._path = path
        self._channels = dict(channels)
        self._clock = clock
        self._stopping = threading.Event()
        self._moved = threading.Event()
        self._stop_at_s = 0.0
        # A wake-up or an ended try; there is at most one try for each person.
        self._inbox: Queue[_Ended | None] = Queue(maxsize=2 * len(self._channels) + 8)
        self._unwritten: list[_Ended] = []
        self._busy: set[str] = set()
        self._resting_until_s: dict[str, float] = {}
        self._health = {name: ChannelHealth(name) for name in self._channels}
        self._problem = ""
        self._turned_s = process_seconds()
        self._thread = threading.Thread(target=self._run, name="outbox", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def wake(self) -> None:
        """Look at once: new messages are in the store. Any thread may call it."""
        with suppress(Full):  # a full inbox wakes it as well
            self._inbox.put_nowait(None)

    def use(self, path: Path) -> None:
        """Go on in another store, or in a new one of the same name. Any thread may call it."""
        self._path = path
        self._moved.set()
        self.wake()

    def stop(self, limit_s: float = 3.0) -> None:
        """End the loop, giving tries under way `limit_s` to come back."""
        self._stop_at_s = process_seconds() + limit_s
        self._stopping.set()
        self.wake()
        if self._thread.is_alive():
            self._thread.join(limit_s + SHORTEST_WAIT_S + 0.5)

    def health(self) -> tuple[ChannelHealth, ...]:
        """How each person's channel does; any thread may ask."""
        return tuple(self._health.values())

    @property
    def problem(self) -> str:
        """Why the outbox can't be worked on; empty while it can."""
        return self._problem

    def idle_s(self) -> float:
        """Seconds of life since the loop last went round, for a watchdog."""
        return process_seconds() - self._turned_s

    def _run(self) -> None:
        while not self._finished():
            try:
                self._moved.clear()
                now_s = self._clock.wall_s()
                with Store.open(self._path, now_s, check=False) as store:
                    while not self._finished() and not self._moved.is_set():
                        turn_s = self._clock.wall_s()
                        self.turn(store, turn_s)
                        self._wait(store, turn_s)
            except Exception as error:  # whatever it is, messages must go on leaving
                text = str(error) if isinstance(error, StoreError) else repr(error)
                if text != self._problem:
                    _log.error("the outbox can't be worked on: %s", text)
                self._problem = text
                self._turned_s = process_seconds()
                self._stopping.wait(STORE_BACK_OFF_S)

    def _finished(self) -> bool:
        if not self._stopping.is_set():
            return False
        outstanding = self._busy or self._unwritten
        return not outstanding or process_seconds() >= self._stop_at_s

    def turn(self, store: Store, now_s: float) -> None:
        """Write down what came of ended tries, then begin those that are due."""
        self._take_ended()
        while self._unwritten:
            self._record(store, self._unwritten[0])
            self._unwritten.pop(0)
        if not self._stopping.is_set():
            for recipient in store.recipients_waiting(now_s):
                if recipient not in self._busy:
                    self._serve(store, recipient, now_s)
        self._problem = ""
        self._turned_s = process_seconds()

    def _wait(self, store: Store, turn_s: float) -> None:
        """Sleep until something is due that was not at `turn_s`, or comes into the inbox."""
        moments = [moment for moment in self._resting_until_s.values() if moment > turn_s]
        next_s = store.next_try_s(turn_s)
        if next_s is not None:
            moments.append(next_s)
        wait_s = LONGEST_WAIT_S
        if moments:
            wait_s = self._clock.real_s(min(moments) - self._clock.wall_s())
        if self._stopping.is_set():
            wait_s = SHORTEST_WAIT_S
        self._take_ended(min(max(wait_s, SHORTEST_WAIT_S), LONGEST_WAIT_S))

    def _take_ended(self, wait_s: float = 0.0) -> None:
        """Empty the inbox, waiting for its first entry no longer than this."""
        with suppress(Empty):
            ended = self._inbox.get(block=wait_s > 0, timeout=wait_s or None)
            while True:
                if ended is not None:
                    self._unwritten.append(ended)
                ended = self._inbox.get_nowait()

    def _serve(self, store: Store, recipient: str, now_s: float) -> None:
        """Settle what is too old, then start a try of what is due next."""
        rows = store.waiting(recipient, now_s, _ROWS_AT_ONCE)
        channel = self._channels.get(recipient)
        for row in rows:
            one = row.delivery
            if channel is None:
                why = "no such recipient in the settings any more"
                store.settle([one.message.message_id], REFUSED, why, now_s)
            elif routing.expired(row, now_s):
                why = f"given up; the last answer was: {one.last_answer or 'none'}"
                store.settle([one.message.message_id], EXPIRED, why, now_s)
        if channel is None:
            return
        rests_s = self._resting_until_s.get(recipient, 0.0)
        batch = routing.due(rows, now_s, rests_s, self._quiet(recipient, now_s))
        if len(batch) > 1 and not batch[0].bundle:
            store.tie([row.delivery.message.message_id for row in batch])
            batch = tuple(store.bundled(batch[0].delivery.message.message_id))
        elif batch and batch[0].bundle:
            batch = tuple(store.bundled(batch[0].bundle))
        if batch:
            self._begin(channel, batch)

    def _begin(self, channel: Channel, batch: Sequence[OutboxRow]) -> None:
        self._busy.add(channel.recipient)
        self._spawn(partial(self._try, channel, batch))

    def _try(self, channel: Channel, batch: Sequence[OutboxRow]) -> None:
        """One try; it ends in the inbox."""
        first = batch[0]
        try:
            answer = channel.send(routing.bundled(batch), first.taken)
        except Exception as error:  # a channel's fault is an answer too
            answer = Answer(Verdict.TRY_AGAIN, f"failed ({type(error).__name__})", first.taken)
        ids = tuple(row.delivery.message.message_id for row in batch)
        ended = _Ended(ids, channel.recipient, first.delivery.attempts + 1, answer)
        self._inbox.put(ended)

    def _record(self, store: Store, ended: _Ended) -> None:
        now_s = self._clock.wall_s()
        answer, next_s = ended.answer, now_s
        match answer.verdict:
            case Verdict.DELIVERED:
                state = DELIVERED
            case Verdict.REFUSED:
                state = REFUSED
            case _:
                state, next_s = WAITING, now_s + routing.back_off_s(ended.attempts)
        store.record_attempt(
            ended.message_ids,
            state=state,
            next_try_s=next_s,
            answer=answer.detail,
            taken=answer.taken,
            now_s=now_s,
        )
        self._note_health(ended, now_s)
        self._busy.discard(ended.recipient)

    def _note_health(self, ended: _Ended, now_s: float) -> None:
        before, answer = self._health[ended.recipient], ended.answer
        if answer.verdict is Verdict.DELIVERED:
            after = ChannelHealth(ended.recipient, delivered_s=now_s, detail=answer.detail)
            self._resting_until_s.pop(ended.recipient, None)
        else:
            after = replace(
                before,
                failures=before.failures + 1,
                refused=answer.verdict is Verdict.REFUSED,
                since_s=now_s if before.since_s is None else before.since_s,
                detail=answer.detail,
            )
            rest_s = routing.back_off_s(after.failures)
            self._resting_until_s[ended.recipient] = now_s + rest_s
            if answer.detail != before.detail:
                _log.warning("message to %s: %s", ended.recipient, answer.detail)
        self._health[ended.recipient] = after
