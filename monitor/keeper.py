"""Which store is written: the one on the card, or a spare in memory while that one fails.

A store that is found damaged is moved aside and a new one begun, in which the run goes on. A
disk that is full, read-only or failing is tried again with back-off, and all that the spare
took meanwhile is then written to it.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from monitor.errors import StoreCorrupt, StoreError, StoreTooNew, StoreUnwritable
from monitor.resume import Resumed, checkpoint_text, resume
from monitor.settings.schema import Settings
from monitor.store import Reader, Store, open_reader, set_aside, spare

FIRST_RETRY_S = 5.0
LONGEST_RETRY_S = 600.0
#: How many closes hear of a damaged store that was replaced: an alarm must hold a while to be told.
TOLD_CLOSES = 3

Say = Callable[[str], None]


class Keeper:
    """The store that is written just now. One thread owns it."""

    def __init__(self, settings: Settings, now_s: float, say: Say) -> None:
        """Open the card's store, or the spare where the disk refuses; rebuild the run.

        Raises StoreError where the path can't be right (no permission, another program's
        file), StoreTooNew.
        """
        self._settings = settings
        self._path = settings.store.path
        self._spare_path = spare.spare_path(self._path)
        self._say = say
        self._fault = ""
        self._notice = ""
        self._notice_closes = 0
        self._retry_s = FIRST_RETRY_S
        self._next_try_s = 0.0
        self.store, self.resumed = self._begin(now_s)

    @property
    def on_card(self) -> bool:
        """Whether what is written reaches the card."""
        return self.store.path == self._path

    @property
    def problem(self) -> str:
        """What people must know of the store, empty where all is well."""
        return self._fault or self._notice

    def use(self, settings: Settings) -> None:
        """A run rebuilt from now on is one under these settings."""
        self._settings = settings

    def closed(self) -> None:
        """A frame was closed, which told the problem."""
        self._notice_closes -= 1
        if self._notice_closes <= 0:
            self._notice = ""

    def well(self) -> None:
        """A write went through."""
        if self.on_card:
            self._fault = ""

    def trouble(self, error: StoreError) -> None:
        """The store refused, and there is no better one."""
        if str(error) != self._fault:
            self._say(str(error))
        self._fault = str(error)

    # -- at the start ----------------------------------------------------------------------

    def _begin(self, now_s: float) -> tuple[Store, Resumed]:
        try:
            return self._begin_on_card(now_s)
        except StoreTooNew:
            raise
        except StoreUnwritable as error:
            if self._spare_path is None:
                raise
            self.trouble(error)
            return self._begin_on_spare(now_s)

    def _begin_on_card(self, now_s: float) -> tuple[Store, Resumed]:
        try:
            store = Store.open(self._path, now_s)
        except StoreCorrupt as error:
            return self._replace(error, None, now_s)
        try:
            if self._spare_path is not None and self._spare_path.exists():
                taken = spare.take_back(store, self._spare_path, now_s)
                self._say(f"{taken.readings} readings taken back from memory")
            return store, resume(store, self._settings, say=self._say)
        except StoreCorrupt as error:
            store.close()
            return self._replace(error, None, now_s)
        except BaseException:
            store.close()
            raise

    def _begin_on_spare(self, now_s: float) -> tuple[Store, Resumed]:
        """Go on where a killed process was, else where the card can still be read from."""
        assert self._spare_path is not None
        if self._spare_path.exists():
            store = spare.open_spare(self._spare_path, now_s)
            if spare.begun(store):
                return store, resume(store, self._settings, say=self._say)
            store.close()
        old = None
        with suppress(StoreError):
            old = open_reader(self._path)
        resumed = Resumed.fresh(self._settings)
        if old is not None:
            with suppress(StoreError):
                resumed = resume(old, self._settings, say=self._say)
        store = spare.begin(self._spare_path, old, seed_of(resumed), now_s)
        if old is not None:
            with suppress(StoreError):
                old.close()
        return store, resumed

    # -- while running ---------------------------------------------------------------------

    def rescue(
        self, error: StoreError, seed: Callable[[], spare.Seed], now_s: float, life_s: float
    ) -> bool:
        """Put another store in place of the one that refused; False where there is none."""
        try:
            if isinstance(error, StoreCorrupt):
                self.store, _ = self._replace(error, seed(), now_s)
                return True
            if not self.on_card or self._spare_path is None:
                self.trouble(error)
                return False
            self.trouble(error)
            failing, self.store = (
                self.store,
                spare.begin(self._spare_path, self.store, seed(), now_s),
            )
        except StoreError as worse:
            self.trouble(worse)
            return False
        with suppress(StoreError):
            failing.close()
        self._say("what comes now is kept in memory and judged; a power cut would lose it")
        self._retry_s = FIRST_RETRY_S
        self._next_try_s = life_s + self._retry_s
        return True

    def _replace(
        self, error: StoreCorrupt, seed: spare.Seed | None, now_s: float
    ) -> tuple[Store, Resumed]:
        """Move a damaged store aside and go on in a new one, from `seed` or what can be read."""
        if seed is not None and not self.on_card:
            raise StoreError(str(self.store.path), "the spare is damaged", "restart bagwatt")
        damaged: Reader | None = self.store if seed is not None else None
        aside = self._move_aside(error, now_s)
        resumed = Resumed.fresh(self._settings)
        if damaged is None:
            with suppress(StoreError):
                damaged = open_reader(aside)
                resumed = resume(damaged, self._settings, say=self._say)
            seed = seed_of(resumed)
        assert seed is not None
        store = Store.open(self._path, now_s)
        lost = spare.plant(store, damaged, seed, now_s)
        if lost:
            self._say(f"could not be read from it: {', '.join(lost)}")
        if damaged is not None:
            with suppress(StoreError):
                damaged.close()
        return store, resumed

    def _open_or_new(self, now_s: float) -> Store:
        try:
            return Store.open(self._path, now_s)
        except StoreCorrupt as error:
            self._move_aside(error, now_s)
            return Store.open(self._path, now_s)

    def _move_aside(self, error: StoreCorrupt, now_s: float) -> Path:
        aside = set_aside(self._path, now_s)  # an open file follows its new name
        self._notice = f"{error.where}: {error.what}; moved aside to {aside.name}"
        self._notice_closes = TOLD_CLOSES
        self._say(f"{error}; moved aside to {aside}, a new store is begun")
        return aside

    def retry(
        self, now_s: float, life_s: float, *, at_once: bool = False
    ) -> spare.TakenBack | None:
        """Try the card again if it is time, or at once; what was taken back once it works."""
        waits = life_s < self._next_try_s and not at_once
        if self.on_card or waits or self._spare_path is None:
            return None
        self._retry_s = min(2 * self._retry_s, LONGEST_RETRY_S)
        self._next_try_s = life_s + self._retry_s
        try:
            card = self._open_or_new(now_s)
            try:
                taken = spare.take_back(card, self._spare_path, now_s)
            except BaseException:
                card.close()
                raise
        except StoreError as error:
            self.trouble(error)
            return None
        with suppress(StoreError):
            self.store.close()
        self.store = card
        self._fault = ""
        self._say(f"the store works again: {taken.readings} readings taken back from memory")
        return taken


def seed_of(resumed: Resumed) -> spare.Seed:
    """Where a rebuilt run stands."""
    return spare.Seed(
        resumed.last_close,
        checkpoint_text(resumed.road, resumed.book),
        resumed.last_reading_id,
        resumed.last_journal_id,
        tuple(resumed.book.bags.values()),
        tuple(resumed.book.probes.values()),
    )
