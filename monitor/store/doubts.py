"""Flags on their way into the store that has their readings; what it refused waits for it."""

from __future__ import annotations

from collections.abc import Iterable

from monitor.store.store import Store
from monitor.values import Flag

Pair = tuple[int, Flag]


class Doubts:
    """Flags that are not written yet: of readings on the card, and of those in its spare.

    They live as long as the run: one that goes on from a checkpoint works out anew those of the
    readings after it, so none may be saved on the card while any of the card's wait.
    """

    def __init__(self) -> None:
        self._card: list[Pair] = []
        self._spare: list[Pair] = []

    def add(self, pairs: Iterable[Pair], *, on_card: bool) -> None:
        """Flags of readings that the card has, or the spare."""
        (self._card if on_card else self._spare).extend(pairs)

    def due(self, *, on_card: bool) -> bool:
        """Whether flags wait for the store that is written now."""
        return bool(self._card if on_card else self._spare)

    def write(self, store: Store, *, on_card: bool) -> None:
        """Write those of the store that is written now; all of them wait on if it raises."""
        mine = self._card if on_card else self._spare
        if mine:
            store.add_flags(mine, gone_too=True)
            mine.clear()

    def taken_back(self, reading_shift: int) -> None:
        """The spare's readings went to the card, their ids up by `reading_shift`."""
        self._card += [(number + reading_shift, flag) for number, flag in self._spare]
        self._spare.clear()

    @property
    def waiting(self) -> bool:
        """Whether any flag is not written yet."""
        return bool(self._card or self._spare)
