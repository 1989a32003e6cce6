"""Which store is written: the one on the card, or a spare while that one fails.

A store that is found damaged is moved aside and a new one begun, in which the run goes on. A
disk that is full, read-only or failing is tried again with back-off, and all that the spare
took meanwhile is then written to it. The spare lies on the medium that the settings name
(`store.spare`), or in memory where none is named or that one is of no use.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from monitor.errors import SpareLost, StoreCorrupt, StoreError, StoreTooNew, StoreUnwritable
from monitor.resume import Resumed, checkpoint_text, resume
from monitor.settings.schema import Settings
from monitor.store import Reader, Store, open_reader, set_aside, spare
from monitor.store.spare_place import Place, doubt, lying, places
from monitor.terms import DAY_S
from monitor.words.quantities import counted

FIRST_RETRY_S = 5.0
LONGEST_RETRY_S = 600.0
#: How many closes hear of a damaged store that was replaced.
TOLD_CLOSES = 3
#: A spare that can't be read back so often, while the card works, is given up by a new start.
SPARE_TRIES = 3
TIDY_EVERY_S = 60.0

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
        self._medium = settings.store.spare
        self._say = say
        self._fault = ""
        self._notice = ""
        self._notice_closes = 0
        self._retry_s = FIRST_RETRY_S
        self._next_try_s = self._tidy_from_s = 0.0
        self._unread = 0
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

    def tidy(self, end_s: float, life_s: float) -> None:
        """One small step of throwing away what is old on the card, now and then by the time the
        program has run; at once again while there is more."""
        if not self.on_card or life_s < self._tidy_from_s:
            return
        self._tidy_from_s = life_s + TIDY_EVERY_S
        kept_s = self._settings.store.retention_days * DAY_S
        frames = int(kept_s / self._settings.frames.length_s)
        try:
            if self.store.prune(end_s - kept_s, frames):
                self._tidy_from_s = 0.0
        except StoreError as error:
            self.trouble(error)

    # -- at the start ----------------------------------------------------------------------

    def _begin(self, now_s: float) -> tuple[Store, Resumed]:
        try:
            return self._begin_on_card(now_s)
        except StoreTooNew:
            raise
        except StoreUnwritable as error:
            if not places(self._path, self._medium):
                raise
            self.trouble(error)
            return self._begin_on_spare(now_s)

    def _begin_on_card(self, now_s: float) -> tuple[Store, Resumed]:
        try:
            store = Store.open(self._path, now_s)
        except StoreCorrupt as error:
            return self._replace(error, None, now_s)
        try:
            for path in lying(self._path, self._medium):
                self._take_up(store, path, now_s)
            return store, resume(store, self._settings, say=self._say)
        except StoreCorrupt as error:
            store.close()
            return self._replace(error, None, now_s)
        except BaseException:
            store.close()
            raise

    def _take_up(self, store: Store, path: Path, now_s: float) -> None:
        """Take a spare that was left lying into the card's store, or put it by."""
        refusal = spare.refusal(store, path, now_s)
        if not refusal:
            taken = spare.take_back(store, path, now_s)
            self._say(f"{counted(taken.readings, 'reading', 'readings')} taken back from {path}")
            return
        kept: Path | str = "where it is"
        with suppress(StoreError):
            kept = set_aside(path, now_s, "not-taken-back")
        self._say(f"what lies in {path} can't be taken back ({refusal}); it is kept: {kept}")

    def _begin_on_spare(self, now_s: float) -> tuple[Store, Resumed]:
        """Go on where a killed process was, else where the card can still be read from."""
        if (left := self._left_spare(now_s)) is not None:
            return left, resume(left, self._settings, say=self._say)
        old = None
        with suppress(StoreError):
            old = open_reader(self._path)
        resumed = Resumed.fresh(self._settings)
        if old is not None:
            with suppress(StoreError):
                resumed = resume(old, self._settings, say=self._say)
        store = self._new_spare(old, seed_of(resumed), now_s)
        if old is not None:
            with suppress(StoreError):
                old.close()
        return store, resumed

    def _left_spare(self, now_s: float) -> Store | None:
        """The newest spare that a run can go on in."""
        found: dict[float, Place] = {}
        for path in lying(self._path, self._medium):
            place = Place(path, lasting=path.parent == self._medium)
            with suppress(StoreError), spare.open_spare(place, now_s) as store:
                begun_s = spare.begun_s(store)
                if begun_s is not None:
                    found[begun_s] = place
        return spare.open_spare(found[max(found)], now_s) if found else None

    def _new_spare(self, old: Reader | None, seed: spare.Seed, now_s: float) -> Store:
        """A spare where one can be: on the other medium, else in memory. Raises StoreError."""
        if self._medium is not None and (why := doubt(self._path, self._medium)):
            self._say(f"{self._medium}: {why}; no spare is kept there")
        refused = StoreError(str(self._path), "no memory takes a spare", "free some memory")
        for place in places(self._path, self._medium):
            try:
                store = spare.begin(place, old, seed, now_s)
            except StoreError as error:
                self._say(str(error))
                refused = error
                continue
            where = f"on {place.path.parent}" if place.lasting else "in memory"
            end = "leaves it" if place.lasting else "would lose it"
            self._say(f"what comes now is kept {where} and judged; a power cut {end}")
            return store
        raise refused

    # -- while running ---------------------------------------------------------------------

    def rescue(
        self, error: StoreError, seed: Callable[[], spare.Seed], now_s: float, life_s: float
    ) -> bool:
        """Put another store in place of the one that refused; False where there is none."""
        try:
            if isinstance(error, StoreCorrupt):
                self.store, _ = self._replace(error, seed(), now_s)
                return True
            if not self.on_card:
                self.trouble(error)
                return False
            self.trouble(error)
            failing, self.store = self.store, self._new_spare(self.store, seed(), now_s)
        except StoreError as worse:
            self.trouble(worse)
            return False
        with suppress(StoreError):
            failing.close()
        self._unread = 0
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
        told = f"{error.where}: {error.what}; moved aside to {aside}, a new store is begun"
        self._say(told)
        return aside

    def retry(
        self, now_s: float, life_s: float, *, at_once: bool = False
    ) -> spare.TakenBack | None:
        """Try the card again if it is time, or at once; what was taken back once it works."""
        if self.on_card or (life_s < self._next_try_s and not at_once):
            return None
        self._retry_s = min(2 * self._retry_s, LONGEST_RETRY_S)
        self._next_try_s = life_s + self._retry_s
        try:
            card = self._open_or_new(now_s)
            try:
                self._look_at_spare(card, now_s)
                taken = spare.take_back(card, self.store.path, now_s)
            except BaseException:
                card.close()
                raise
        except SpareLost:
            raise
        except StoreError as error:
            self.trouble(error)
            return None
        with suppress(StoreError):
            self.store.close()
        self.store = card
        self._fault = ""
        readings = counted(taken.readings, "reading", "readings")
        self._say(f"the store works again: {readings} taken back from the spare")
        return taken

    def _look_at_spare(self, card: Store, now_s: float) -> None:
        """Raises StoreError while the spare can't be read back, SpareLost where that lasts."""
        refusal = spare.refusal(card, self.store.path, now_s)
        self._unread = self._unread + 1 if refusal else 0
        if self._unread >= SPARE_TRIES:
            path = str(self.store.path)
            raise SpareLost(path, refusal, "bagwatt starts anew with what the card has")
        if refusal:
            raise StoreError(str(self.store.path), refusal, "see to the medium of store.spare")


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
