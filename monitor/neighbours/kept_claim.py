"""Our claim to the room's name as the store keeps it, so that a restart finds it again."""

from __future__ import annotations

import logging
import platform
import secrets
import threading

from monitor.clock import Clock
from monitor.errors import StoreError
from monitor.room_messages import RoomClaim
from monitor.room_summary import VERSION
from monitor.settings.schema import Settings
from monitor.settings.schema_neighbours import NeighbourSettings
from monitor.store import Store, claimed, open_reader

_log = logging.getLogger(__name__)


class KeptClaim:
    """The claim of one run. Use it in one thread, but for `again`."""

    def __init__(self, settings: Settings, own: NeighbourSettings, clock: Clock) -> None:
        self._path = settings.store.path
        self._room = settings.room.name
        self._own = own
        self._clock = clock
        #: Sorts by the start: of two runs on copies of one store the first keeps the name.
        self._run = f"{round(clock.wall_s() * 1000):014d}-{secrets.token_hex(4)}"
        self._kept: claimed.Claimed | None = None
        self._moved = threading.Event()

    def again(self) -> None:
        """The store is another file now. Any thread may call it."""
        self._moved.set()

    def claim(self) -> RoomClaim:
        """Our claim, from now on where the store had none. Raises StoreError."""
        kept = self._known()  # also of a card that can only be read
        if kept is None:
            with self._open() as store:
                kept = claimed.claim(store, *self._key(), self._clock.wall_s())
        self._kept = kept
        return RoomClaim(
            version=VERSION,
            site=self._own.site or "",
            room=self._room,
            instance=kept.instance,
            run=self._run,
            since_s=kept.since_s,
            host=platform.node(),
            keepalive_s=self._own.keepalive_s,
        )

    def look(self) -> None:
        """Write the claim into a store that took the place of another."""
        if not self._moved.is_set() or self._kept is None:
            return
        self._moved.clear()
        if not self._path.exists() or self._known() == self._kept:
            return
        try:
            with self._open() as store:
                claimed.keep(store, *self._key(), self._kept)
        except StoreError as error:  # the next start then claims the name from then on
            _log.warning("neighbours: the claim is not kept: %s", error)

    def _known(self) -> claimed.Claimed | None:
        try:
            with open_reader(self._path) as store:
                return claimed.known(store, *self._key())
        except StoreError:
            return None

    def _open(self) -> Store:
        return Store.open(self._path, self._clock.wall_s(), check=False)

    def _key(self) -> tuple[str, str]:
        return self._own.prefix, self._room
