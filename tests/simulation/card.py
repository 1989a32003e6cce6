"""A card that is full until it is mended, for every connection that any part opens to it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

from monitor.store import Store

#: More pages than a store ever has.
_ROOM = 1_073_741_823


class Card:
    """The store's file: while it is full no page can be added to it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.full = False

    def fill(self, store: Store) -> None:
        """From now on; `store` is what writes just now."""
        self.full = True
        self._limit(store)

    def mend(self, store: Store | None) -> None:
        self.full = False
        if store is not None:
            self._limit(store)

    def _limit(self, store: Store) -> None:
        if store.path == self._path:
            pages = 1 if self.full else _ROOM
            store.connection.execute(f"PRAGMA max_page_count = {pages}")

    @contextmanager
    def in_its_slot(self) -> Iterator[None]:
        """Within this, whoever opens the store finds the card as it is."""
        opened = Store.open

        def opening(path: Path, now_s: float, *, check: bool = True) -> Store:
            store = opened(path, now_s, check=check)
            self._limit(store)
            return store

        with patch.object(Store, "open", opening):
            yield
