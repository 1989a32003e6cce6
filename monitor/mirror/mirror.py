"""The mirror of a running watch: a thread of its own with a store connection of its own.

It reads what is committed, sends it, and moves its place in the log only after the server took
all of it. So it is cut off anywhere without losing a point, and what is sent twice is the same
points again. The watch never waits for it.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from monitor.clock import Clock
from monitor.errors import StoreError
from monitor.mirror.points import Points, tried
from monitor.mirror.sending import Sending, Sent
from monitor.mirror.server import Server, Word
from monitor.mirror.walk import Stride, Walk
from monitor.settings.schema import MirrorSettings
from monitor.store import Store, mirrored
from monitor.store.mirrored import Place
from monitor.words.quantities import counted

FIRST_BACK_OFF_S = 5.0
LONGEST_BACK_OFF_S = 600.0
#: A server that is away for less is nobody's business.
FAILING_AFTER_S = 1800.0
#: Between two full batches, so that the watch itself comes first.
BREATH_S = 0.05
STORE_BACK_OFF_S = 5.0
#: Rows of the log without a point that are passed over for one batch.
_EMPTY_STRIDES = 2000

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class MirrorHealth:
    """How the copy gets on: what is wrong, since when; `refused` where waiting won't help."""

    detail: str = ""
    since_s: float | None = None
    refused: bool = False

    def failing(self, now_s: float) -> bool:
        """Worth an alarm: refused, or away for half an hour."""
        # A moment in the future was given by a clock that has been set back since.
        away_s = 0.0 if self.since_s is None else abs(now_s - self.since_s)
        return self.refused or away_s >= FAILING_AFTER_S


class Copying(Protocol):
    """What a watch asks of its mirror."""

    def start(self) -> None: ...
    def stop(self, limit_s: float) -> None: ...
    def again(self) -> None: ...
    def health(self) -> MirrorHealth: ...


class NoMirror:
    """For who keeps no copy."""

    def start(self) -> None:
        """Nothing to start."""

    def stop(self, limit_s: float) -> None:
        """Nothing to stop."""

    def again(self) -> None:
        """Nothing to open anew."""

    def health(self) -> MirrorHealth:
        return MirrorHealth()


@dataclass(frozen=True, slots=True)
class _Batch:
    """Points that go together, and the place once they are across."""

    lines: tuple[str, ...]
    place: Place
    full: bool


class Mirror:
    """Copies until it is stopped."""

    def __init__(
        self,
        settings: MirrorSettings,
        room: str,
        path: Path,
        clock: Clock,
        settled: Callable[[], int | None],
    ) -> None:
        """`settled` tells the last reading whose flags are written; None while the card rests."""
        self._settings = settings
        self._room = room
        self._path = path
        self._clock = clock
        self._settled = settled
        self._server = Server(settings)
        self._stopping = threading.Event()
        self._moved = threading.Event()
        self._health = MirrorHealth()
        self._failures = 0
        self._points = Points(settings.site, room, settings.tags)
        self._sending = Sending(
            self._server,
            lambda at_s: tried(settings.site, room, at_s),
            lambda: not self._stopping.is_set(),
        )
        self._strides: Iterator[Stride] | None = None
        self._batch: _Batch | None = None
        self._place = Place()
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self, limit_s: float) -> None:
        """End; a request under way is cut, and sent again another time."""
        self._stopping.set()
        self._server.close()
        if self._thread.is_alive():
            self._thread.join(limit_s)

    def again(self) -> None:
        """The store is another file now: open it anew. Any thread may call it."""
        self._moved.set()

    def health(self) -> MirrorHealth:
        return self._health

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._moved.clear()
                with Store.open(self._path, self._clock.wall_s(), check=False) as store:
                    # A place lost in a power cut costs nothing: no sync while readings wait.
                    store.connection.execute("PRAGMA synchronous = NORMAL")
                    self._begin(store)
                    while not self._stopping.is_set() and not self._moved.is_set():
                        self._stopping.wait(self.turn(store))
            except Exception as error:  # whatever it is, the copy must go on
                text = str(error) if isinstance(error, StoreError) else repr(error)
                self._note(text, refused=False)
                self._stopping.wait(STORE_BACK_OFF_S)

    def _begin(self, store: Store) -> None:
        self._place = mirrored.begin(store, self._settings.target).place
        self._strides = self._batch = None

    def turn(self, store: Store) -> float:
        """Send a batch if there is one; how long to wait then [s of life]."""
        rest_s = self._clock.real_s(self._settings.every_s)
        if self._settled() is None:
            return rest_s
        self._skip_lost(store)
        batch = self._batch = self._batch or self._gather(store)
        now_s = self._clock.wall_s()
        sent = self._sending.send(batch.lines, now_s)
        if sent.failed is not None:
            return self._failed(store, sent)
        if sent.refused:
            _log.warning(
                "mirror: %d points refused and put by: %s", len(sent.refused), sent.refused[0][1]
            )
        if batch.place != self._place or sent.taken or sent.refused:
            target = self._settings.target
            mirrored.move(store, target, batch.place, sent.taken, sent.refused, now_s)
        self._place, self._batch = batch.place, None
        if self._health.detail:
            _log.warning("mirror: works again")
        self._health, self._failures = MirrorHealth(), 0
        return BREATH_S if batch.full else rest_s

    def _gather(self, store: Store) -> _Batch:
        """The next points of the log, no more than go into one request."""
        if self._strides is None:
            walk = Walk(store, self._points, self._place)
            self._strides = walk.all(lambda: self._settled() or 0)
        lines: list[str] = []
        place = self._place
        for _ in range(self._settings.batch + _EMPTY_STRIDES):
            stride = next(self._strides, None)
            if stride is None:
                self._strides = None
                break
            place = stride.place
            if stride.line:
                lines.append(stride.line)
            if len(lines) >= self._settings.batch:
                break
        return _Batch(tuple(lines), place, self._strides is not None)

    def _skip_lost(self, store: Store) -> None:
        """Say what was thrown away before it was copied."""
        if self._batch is not None:
            return
        self._place, lost = mirrored.skip_lost(store, self._settings.target, self._place)
        if lost:
            self._strides = None
            readings = counted(lost, "reading was", "readings were")
            text = f"{readings} thrown away (store.retention) before being copied"
            store.add_note(self._clock.wall_s(), "mirror", text)
            _log.warning("mirror: %s", text)

    def _failed(self, store: Store, sent: Sent) -> float:
        """Note why nothing moves; how long to wait."""
        answer = sent.failed
        assert answer is not None
        if self._stopping.is_set():
            return 0.0
        self._failures += 1
        before = self._health.detail
        self._note(answer.detail, refused=answer.word is Word.REFUSED)
        if answer.detail != before:
            since_s = self._health.since_s or self._clock.wall_s()
            mirrored.fail(store, self._settings.target, answer.detail, since_s)
        wait_s = min(FIRST_BACK_OFF_S * 2.0 ** min(self._failures - 1, 16), LONGEST_BACK_OFF_S)
        return max(BREATH_S, self._clock.real_s(max(wait_s, answer.wait_s or 0.0)))

    def _note(self, detail: str, *, refused: bool) -> None:
        before = self._health
        if detail != before.detail:
            _log.warning("mirror: %s", detail)
        since_s = self._clock.wall_s() if before.since_s is None else before.since_s
        self._health = MirrorHealth(detail, since_s, refused)
