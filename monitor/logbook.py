"""The store and the road of a running watch, moved together and in the same order.

What goes into the store goes onto the road, and in the order in which the store has it, so
that a rebuilt run sees the same. One thread owns it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from zoneinfo import ZoneInfo

from monitor import telling
from monitor.assemble import with_offsets
from monitor.errors import StoreCorrupt, StoreError
from monitor.resume import Resumed, as_items, checkpoint_text, resume
from monitor.road import Outcome
from monitor.runner import Close, take
from monitor.settings.schema import Settings
from monitor.sources.folder import Folder
from monitor.store import Arrival, FrameClose, LogItem, Store, set_aside
from monitor.values import AlarmEvent, Condition, Delivery, Flag, Probe, Reading

HOUR_S = 3600.0
#: Skipped rows of the room's folder that are said one by one.
SKIPS_SAID = 20

Say = Callable[[str], None]


def open_store(settings: Settings, now_s: float, say: Say) -> Store:
    """The store; a damaged one is moved aside and a new one begun, and that is said."""
    path = settings.store.path
    try:
        return Store.open(path, now_s)
    except StoreCorrupt as error:
        aside = set_aside(path, now_s)
        say(f"{error}; moved aside to {aside}, a new store is begun")
        return Store.open(path, now_s)


class Logbook:
    """A room's store and road, rebuilt from where the last run stopped."""

    def __init__(self, settings: Settings, now_s: float, say: Say) -> None:
        """Open the store and rebuild the run. Raises StoreError, StoreTooNew."""
        self._settings = settings
        self._say = say
        self._zone = ZoneInfo(settings.room.timezone)
        self.store = open_store(settings, now_s, say)
        resumed: Resumed = resume(self.store, settings)
        self._road, self._book = resumed.road, resumed.book
        self._last_reading_id = resumed.last_reading_id
        self._last_journal_id = resumed.last_journal_id
        self.last_close: FrameClose | None = resumed.last_close
        self.problem = ""
        self._told = False
        self._renew_offsets(now_s)

    def _renew_offsets(self, now_s: float) -> None:
        """Probes that the book's commands hung up take the offsets the settings give now."""
        entered = [
            version.now
            for version in self.store.current("probe").values()
            if version.act is not None and isinstance(version.now, Probe)
        ]
        bare = {one.probe: replace(one, offset_k=0.0, calibrated="") for one in entered}
        fresh = with_offsets(bare, self._settings.probes)
        changed = [fresh[one.probe] for one in entered if fresh[one.probe] != one]
        if changed:
            with self.store.act(now_s, "bagwatt", "offsets from the settings") as pen:
                for probe in changed:
                    pen.put(probe, now_s)

    def keep(self, arrivals: list[Arrival]) -> bool:
        """Commit arrivals, then put on the road what the store now holds; False if it can't."""
        try:
            self.store.add_batch(arrivals)
        except StoreError as error:
            self._trouble(error)
            return False
        told = self._catch_up(None)
        self._told |= bool(told)
        return told is not None

    def read_journal(self, now_s: float) -> bool:
        """Take what was written since, perhaps by another process; True if people were told."""
        told, self._told = self._told, False
        return bool(self._catch_up(now_s)) or told

    def _catch_up(self, now_s: float | None) -> bool | None:
        """Put what the store has beyond the road on it, in the store's order.

        Without `now_s` a row's own time is used. None where the store can't be read or
        written, else whether people were told.
        """
        told = False
        flags: list[tuple[int, Flag]] = []
        try:
            rows, reading_id, journal_id = self.store.log_since(
                self._last_reading_id, self._last_journal_id
            )
            for row in rows:
                if isinstance(row.body, Reading):
                    flagged = take(self._road, row.body).flagged
                    flags.extend((row.id, flag) for flag in (flagged.flags if flagged else ()))
                    self._last_reading_id = row.id
                else:
                    told |= self._take_row(row, now_s)
            self._last_reading_id, self._last_journal_id = reading_id, journal_id
            if flags:
                self.store.add_flags(flags)
        except StoreError as error:
            self._trouble(error)
            return None
        self.problem = ""
        return told

    def _trouble(self, error: StoreError) -> None:
        if str(error) != self.problem:
            self._say(str(error))
        self.problem = str(error)

    def _take_row(self, row: LogItem, now_s: float | None) -> bool:
        """Put what a row of the journal means on the road, as a rebuilt run would."""
        self._last_journal_id = row.id
        told = False
        for item in as_items(row, self._book, self.store):
            events = take(self._road, item).events
            if events:
                at_s = events[-1].at_s if now_s is None else now_s
                self.store.add_events(events, self._messages(events, at_s))
                self._say_events(events)
                told = True
        return told

    def restamp(self, boot_id: str, step_s: float, now_s: float) -> None:
        """The clock stepped: stamp anew what this boot stamped before it was set."""
        self.store.add_note(now_s, "clock stepped", f"{step_s:+.0f} s")
        if self.store.restamp(boot_id, step_s, now_s) is not None:
            self._told |= bool(self._catch_up(now_s))

    def take_folder(self, folder: Folder, walks: Iterable[Arrival], now_s: float) -> None:
        """Take the room's folder into the book, its walks as readings."""
        for skip in folder.skips.rows[:SKIPS_SAID]:
            self._say(f"{skip.file}:{skip.line}: {skip.reason}: {skip.detail}")
        probes = with_offsets(folder.probes, self._settings.probes)
        self.store.add_book(now_s, folder.bags.values(), probes.values())
        for entry in folder.book:
            self.store.add_entry(entry)
        self.read_journal(now_s)
        self.keep(list(walks))
        self._say(f"the room's folder: {len(folder.bags)} bags, {len(folder.probes)} probes")

    def close(self, end_s: float, now_s: float, house: tuple[Condition, ...]) -> Outcome:
        """Close a frame: the road's outcome, its events and messages in one transaction."""
        outcome = take(self._road, Close(end_s, house)).outcome
        assert outcome is not None  # a Close always has one
        try:
            self.store.close_frame(
                end_s,
                now_s,
                self._last_reading_id,
                self._last_journal_id,
                events=outcome.events,
                messages=self._messages(outcome.events, now_s),
                estimates=outcome.verdicts.values() if end_s % HOUR_S == 0 else (),
                house=house,
            )
            if end_s % HOUR_S == 0:
                self.store.save_checkpoint(end_s, checkpoint_text(self._road, self._book))
        except StoreError as error:
            self._trouble(error)
        self._say_events(outcome.events)
        return outcome

    def _messages(self, events: tuple[AlarmEvent, ...], now_s: float) -> list[Delivery]:
        return telling.messages(events, self._settings, now_s, self._zone)

    def _say_events(self, events: tuple[AlarmEvent, ...]) -> None:
        for event in events:
            if event.announced:  # what was held back is in the store, for who asks
                self._say(telling.event_line(event, self._settings.room.units, self._zone))

    def say_standing(self, end_s: float, outcome: Outcome) -> None:
        """A line on how the room stands."""
        self._say(telling.standing_line(end_s, outcome, self._settings.room.units, self._zone))
