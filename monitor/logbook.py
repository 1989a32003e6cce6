"""The store and the road of a running watch, moved together and in the same order.

What goes into the store goes onto the road, and in the order in which the store has it, so
that a rebuilt run sees the same. One thread owns it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from zoneinfo import ZoneInfo

from monitor import telling
from monitor.assemble import build_road, with_offsets
from monitor.clock import Clock
from monitor.errors import StoreCorrupt, StoreError
from monitor.house import Air, air_of
from monitor.keeper import Keeper, seed_of
from monitor.renewal import THRESHOLDS_NOTE, probes_to_renew, thresholds_to_note
from monitor.resume import Resumed, checkpoint_text, resume, with_items
from monitor.road import Outcome
from monitor.runner import Close, Item, take
from monitor.settings.schema import Settings
from monitor.settings.strains import StrainBook, changes
from monitor.sources.folder import Folder
from monitor.store import Arrival, FrameClose, LogItem, Store
from monitor.store.doubts import Doubts
from monitor.store.spare import Seed
from monitor.terms import HOUR_S
from monitor.values import AlarmEvent, Condition, Delivery, Flag, Reading
from monitor.words.quantities import counted

#: The run is saved hourly if it is no larger than this, else the less often; a rebuild then
#: reads up to six hours of the log again.
SAVED_BYTES_PER_H = 2**20
MOST_UNSAVED_H = 6
#: Skipped rows of the room's folder that are said one by one.
SKIPS_SAID = 20

Say = Callable[[str], None]


class Logbook:
    """A room's store and road, rebuilt from where the last run stopped."""

    def __init__(self, settings: Settings, clock: Clock, say: Say) -> None:
        """Open the store and rebuild the run. Raises StoreError, StoreTooNew."""
        self._settings = settings
        self._clock = clock
        self._say = say
        self._zone = ZoneInfo(settings.room.timezone)
        now_s = clock.wall_s()
        self._keeper = Keeper(settings, now_s, say)
        resumed = self._keeper.resumed
        self._take_up(resumed)
        self._started_id, self._settled_id = self._last_reading_id, 0
        self._told = False
        self._doubts = Doubts()
        #: What nothing took yet: it is written with the next close, and the run is saved there.
        self._owed: tuple[tuple[AlarmEvent, ...], list[Delivery]] = (), []
        self._gap = False
        self._new_strains: StrainBook | None = None
        self._save_from_s = 0.0
        self._finish(resumed, now_s)
        self._renew_offsets(now_s)
        self._note_thresholds()

    def _take_up(self, resumed: Resumed) -> None:
        self._road, self._book = resumed.road, resumed.book
        self._last_reading_id = resumed.last_reading_id
        self._last_journal_id = resumed.last_journal_id
        self.last_close: FrameClose | None = resumed.last_close

    @property
    def store(self) -> Store:
        """The store that is written just now."""
        return self._keeper.store

    @property
    def settled_id(self) -> int | None:
        """The last reading whose flags are written; None while a spare is. Any thread may ask."""
        return self._settled_id if self._keeper.on_card else None

    @property
    def problem(self) -> str:
        """What is wrong with the store, empty where nothing is."""
        return self._keeper.problem

    def _finish(self, resumed: Resumed, now_s: float) -> None:
        """Write what the last run was cut off from writing; what is there already stays."""
        untold = tuple(resumed.untold)
        if untold:
            messages = self._messages(untold, now_s)
            self._write(lambda store: store.add_events(untold, messages))
        self._settle(resumed.flags)

    def _settle(self, flags: Iterable[tuple[int, Flag]]) -> None:
        """Write the flags of readings that were just taken, and those that wait; what the store
        refuses is kept until it has them, and until then nothing counts as settled."""
        self._doubts.add(flags, on_card=self._keeper.on_card)
        if self._doubts.due(on_card=self._keeper.on_card):
            self._write(lambda store: self._doubts.write(store, on_card=self._keeper.on_card))
        if not self._doubts.waiting:
            self._settled_id = self._last_reading_id

    def _renew_offsets(self, now_s: float) -> None:
        """Probes that the book's commands hung up take the offsets the settings give now."""
        changed = probes_to_renew(self.store, self._settings)

        def write(store: Store) -> None:
            with store.act(now_s, "bagwatt", "offsets from the settings") as pen:
                for probe in changed:
                    pen.put(probe, now_s)

        if changed:
            self._write(write)

    def _note_thresholds(self) -> None:
        """Write down what thresholds hold from now on, for who later asks what was called."""
        if said := thresholds_to_note(self.store, self._settings):
            self.note(THRESHOLDS_NOTE, said)

    def take_strains(self, strains: StrainBook) -> None:
        """Take other strains at the next close: all of them at once, between two frames."""
        self._new_strains = strains

    def _renew_strains(self, end_s: float) -> None:
        """Go on under new strains from the close at `end_s`, as a run rebuilt from there would."""
        strains, self._new_strains = self._new_strains, None
        if strains is None:
            return
        lines = changes(self._settings.strains, strains)
        settings = self._settings.model_copy(update={"strains": strains})
        road = build_road(settings, self._book.plan())
        road.restore(json.loads(json.dumps(self._road.state())))
        self._settings, self._road = settings, road
        self._keeper.use(settings)
        self._note_thresholds()
        self._save(end_s)
        for line in lines or ["strains.yaml was read again: nothing in it changed"]:
            self._say(line)

    def _write(self, write: Callable[[Store], object], close: FrameClose | None = None) -> bool:
        """Write to the store, or to the one that takes its place; False where none takes it.

        `close` is the close that is just being written, if it is one.
        """
        try:
            write(self.store)
        except StoreError as error:
            now_s, life_s = self._clock.wall_s(), self._life_s()
            if not self._keeper.rescue(error, lambda: self._seed(close), now_s, life_s):
                return False
            try:
                write(self.store)
            except StoreError as worse:
                self._keeper.trouble(worse)
                return False
        self._keeper.well()
        return True

    def _seed(self, close: FrameClose | None) -> Seed:
        ids = self._last_reading_id, self._last_journal_id
        return seed_of(Resumed(self._road, self._book, *ids, close or self.last_close))

    def _life_s(self) -> float:
        return self._clock.real_s(self._clock.monotonic_s())

    def air_before(self) -> Air:
        """The room's air as last heard before this start."""
        earlier = self.store.frames_back(1)
        after_id = earlier.last_reading_id if earlier else 0
        return self._air(after_id, self._started_id)

    def air_since(self) -> Air:
        """The room's air since this start; its lowest and highest also of what came late."""
        return self._air(self._started_id, self._last_reading_id)

    def _air(self, after_id: int, last_id: int) -> Air:
        try:
            rows = self.store.heard(after_id, last_id)
        except StoreError as error:
            self._keeper.trouble(error)
            return Air()
        return air_of(rows, self._book.probes)

    def note(self, kind: str, detail: str) -> None:
        """Write a line into the monitor's own log."""
        self._write(lambda store: store.add_note(self._clock.wall_s(), kind, detail))

    def look_after(self, *, at_once: bool = False) -> bool:
        """Try a failing card again, or tidy up a little; True where the store is another now.

        A failing card is tried with back-off, or `at_once`.
        """
        taken = self._keeper.retry(self._clock.wall_s(), self._life_s(), at_once=at_once)
        if taken is not None:
            self._last_reading_id += taken.reading_shift
            self._started_id += taken.reading_shift
            self._doubts.taken_back(taken.reading_shift)
            self._take_rows(taken.others, self._clock.wall_s())
            return True
        if self.last_close is not None:
            self._keeper.tidy(self.last_close.end_s, self._life_s())
        return False

    def keep(self, arrivals: list[Arrival]) -> bool:
        """Commit arrivals, then put on the road what the store now holds; False if it can't.

        What is committed is kept, also where it can't be read back just now.
        """
        rows: list[LogItem] | None = None

        def write(store: Store) -> None:
            nonlocal rows
            rows = store.append(arrivals, self._last_reading_id, self._last_journal_id)

        kept = self._write(write)
        if kept:
            self._told |= self._catch_up(None, rows)
        return kept

    def read_journal(self, now_s: float) -> bool:
        """Take what was written since, perhaps by another process; True if people were told."""
        told, self._told = self._told, False
        return self._catch_up(now_s) or told

    def _catch_up(self, now_s: float | None, rows: Iterable[LogItem] | None = None) -> bool:
        """Put what the store has beyond the road on it, in the store's order.

        Without `now_s` a row's own time is used; `rows` are those rows where they are known.
        True where people were told.
        """
        try:
            if rows is not None:
                return self._take_rows(rows, now_s)
            rows, reading_id, journal_id = self.store.log_since(
                self._last_reading_id, self._last_journal_id
            )
            told = self._take_rows(rows, now_s)
            self._last_reading_id = max(reading_id, self._last_reading_id)
            self._last_journal_id = max(journal_id, self._last_journal_id)
        except StoreCorrupt as error:
            self._keeper.rescue(
                error, lambda: self._seed(None), self._clock.wall_s(), self._life_s()
            )
            return False
        except StoreError as error:
            self._keeper.trouble(error)
            return False
        return told

    def _take_rows(self, rows: Iterable[LogItem], now_s: float | None) -> bool:
        """Put rows of the log on the road; True where people were told."""
        told = False
        flags: list[tuple[int, Flag]] = []
        for row, items in with_items(rows, self._book, self.store):
            if isinstance(row.body, Reading):
                flagged = take(self._road, row.body).flagged
                flags.extend((row.id, flag) for flag in (flagged.flags if flagged else ()))
                self._last_reading_id = max(row.id, self._last_reading_id)
            else:
                told |= self._take_row(row, items, now_s)
        self._settle(flags)
        return told

    def _take_row(self, row: LogItem, items: Iterable[Item], now_s: float | None) -> bool:
        """Put what a row of the journal means on the road, as a rebuilt run would."""
        self._last_journal_id = max(row.id, self._last_journal_id)
        told = False
        for item in items:
            events = take(self._road, item).events
            if events:
                at_s = events[-1].at_s if now_s is None else now_s
                self._tell(events, at_s)
                told = True
        return told

    def _tell(self, events: tuple[AlarmEvent, ...], now_s: float) -> None:
        messages = self._messages(events, now_s)
        if not self._write(lambda store: store.add_events(events, messages)):
            self._owed = (*self._owed[0], *events), [*self._owed[1], *messages]
        self._say_events(events)

    def restamp(self, boot_id: str, step_s: float, now_s: float) -> None:
        """The clock stepped: stamp anew what this boot stamped before it was set."""
        self.note("clock stepped", f"{step_s:+.0f} s")
        self._write(lambda store: store.restamp(boot_id, step_s, now_s))
        self._told |= self._catch_up(now_s)

    def set_back(self, now_s: float) -> bool:
        """The clock was ahead: put by what it closed in its future and go on from before that.

        As a restart would. False where the card can't be written just now.
        """
        if not self._keeper.on_card:
            return False
        offset_s = self._clock.wall_s() - self._clock.monotonic_s()
        try:
            self.store.put_by(now_s, self._clock.boot_id(), offset_s)
            resumed = resume(self.store, self._settings, say=self._say)
        except StoreError as error:
            self._keeper.trouble(error)
            return False
        self._take_up(resumed)
        self._owed, self._gap, self._save_from_s = ((), []), True, 0.0  # saved at the next close
        self._finish(resumed, now_s)
        return True

    def tell_behind(self, now_s: float) -> None:
        """The clock is behind what was watched, so no close can say that nothing is judged."""
        if self.last_close is not None:
            end_s = self.last_close.end_s
            told = telling.clock_behind(self._settings, now_s, end_s, self._zone)
            self._write(lambda store: store.add_events((), told))

    def take_folder(self, folder: Folder, walks: Iterable[Arrival], now_s: float) -> bool:
        """Take the room's folder into the book, its walks as readings; False if it can't be."""
        for skip in folder.skips.rows[:SKIPS_SAID]:
            self._say(f"{skip.file}:{skip.line}: {skip.reason}: {skip.detail}")
        probes = with_offsets(folder.probes, self._settings.probes)

        def write(store: Store) -> None:
            with store.transaction():
                store.add_book(now_s, folder.bags.values(), probes.values())
                for entry in folder.book:
                    store.add_entry(entry)

        kept = self._write(write)
        self._told |= self._catch_up(now_s)
        if not (kept and self.keep(list(walks))):
            return False
        bags = counted(len(folder.bags), "bag", "bags")
        self._say(f"the room's folder: {bags}, {counted(len(folder.probes), 'probe', 'probes')}")
        return True

    def close(self, end_s: float, now_s: float, house: tuple[Condition, ...]) -> Outcome:
        """Close a frame: the road's outcome, its events and messages in one transaction."""
        outcome = take(self._road, Close(end_s, house)).outcome
        assert outcome is not None  # a Close always has one
        events = (*self._owed[0], *outcome.events)
        messages = [*self._owed[1], *self._messages(outcome.events, now_s)]
        close = FrameClose(end_s, now_s, self._last_reading_id, self._last_journal_id, house)
        written = self._write(
            lambda store: store.close_frame(
                end_s,
                now_s,
                close.last_reading_id,
                close.last_command_id,
                house=house,
                events=events,
                messages=messages,
                estimates=outcome.verdicts.values() if end_s % HOUR_S == 0 else (),
            ),
            close,
        )
        self._owed = ((), []) if written else (events, messages)
        self._gap |= not written
        self.last_close = close
        if written and (self._gap or (end_s % HOUR_S == 0 and end_s >= self._save_from_s)):
            self._save(end_s)
        self._renew_strains(end_s)
        self._keeper.closed()
        self._say_events(outcome.events)
        return outcome

    def _save(self, end_s: float) -> None:
        """Save the run; the larger it is the less often, for the sake of the card."""
        if self._keeper.on_card and self._doubts.due(on_card=True):
            self._gap = True  # a run that goes on from here would not work these flags out anew
            return
        text = checkpoint_text(self._road, self._book)
        size = 0

        def write(store: Store) -> None:
            nonlocal size
            size = store.save_checkpoint(end_s, text)

        self._gap &= not self._write(write)
        hours = min(1 + size // SAVED_BYTES_PER_H, MOST_UNSAVED_H)
        self._save_from_s = end_s + hours * HOUR_S

    def _messages(self, events: tuple[AlarmEvent, ...], now_s: float) -> list[Delivery]:
        return telling.messages(events, self._settings, now_s, self._zone)

    def _say_events(self, events: tuple[AlarmEvent, ...]) -> None:
        for event in events:
            if event.announced:  # what was held back is in the store, for who asks
                self._say(telling.event_line(event, self._settings.room.units, self._zone))

    def say_standing(self, end_s: float, outcome: Outcome) -> None:
        """A line on how the room stands."""
        self._say(telling.standing_line(end_s, outcome, self._settings.room.units, self._zone))
