"""The daemon's wiring: sources, store, road, outbox, each where it belongs on the road.

One thread owns the store and the road. Sources only enqueue; a reading is stored before
anything looks at it and acknowledged only after the commit. Frames are closed on the wall
clock, a grace after their end; a close, its events and their messages are one transaction.
"""

from __future__ import annotations

import fcntl
import queue
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TextIO
from zoneinfo import ZoneInfo

from monitor import house, telling
from monitor.assemble import with_offsets
from monitor.channels import build_channels
from monitor.clock import Clock
from monitor.errors import FolderError, StoreCorrupt, StoreError
from monitor.outbox import Sender
from monitor.resume import as_items, checkpoint_text, resume
from monitor.road import Outcome
from monitor.room_folder import RoomFolder
from monitor.runner import Close, ended_frames_s, frame_end_s, take
from monitor.settings.schema import Settings
from monitor.sources import build_source
from monitor.sources.folder import Folder
from monitor.sources.source import Packet, Source
from monitor.store import Arrival, LogItem, Store, set_aside
from monitor.values import (
    AlarmEvent,
    Condition,
    Decoded,
    Delivery,
    Flag,
    Reading,
)

LOOK_EVERY_S = 1.0
FOLDER_EVERY_S = 10.0
CHECKPOINT_S = 3600.0
ESTIMATE_S = 3600.0
#: The wall clock has stepped when it moved this much against the monotonic one.
CLOCK_STEP_S = 60.0
LONGEST_WAIT_S = 0.5
#: Rows of walks.csv looked at when the file changes; fewer than the deliveries remembered.
WALK_ROWS = 1500

#: No room was watched before this was written: 2026-11-01.
WRITTEN_S = 1_793_491_200.0

Say = Callable[[str], None]


def lock_store(path: Path) -> TextIO:
    """Hold the store for this daemon alone; the lock ends with the process.

    Two daemons with one store and one client id would throw each other off the broker.
    Raises StoreError where another one holds it.
    """
    handle = path.with_name(path.name + ".lock").open("w", encoding="ascii")
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        handle.close()
        what = "another `bagwatt watch` has this store open"
        raise StoreError(str(path), what, "stop it first (`systemctl stop bagwatt`)") from error
    return handle


class Live:
    """A watched room. `run` returns within seconds of `stop` being set."""

    def __init__(
        self, settings: Settings, clock: Clock, say: Say, standing_every_s: float = 3600.0
    ) -> None:
        """Open the store, rebuild the run, build the channels; start nothing yet.

        `standing_every_s` is how often a line on how the room stands is said, 0 for never.

        Raises StoreError, StoreTooNew, ChannelError.
        """
        self._settings = settings
        self._clock = clock
        self._say = say
        self._standing_every_s = standing_every_s
        self._zone = ZoneInfo(settings.room.timezone)
        self._channels = build_channels(settings.recipients)
        self._lock = lock_store(settings.store.path)
        self._store = self._open_store()
        self._folder = RoomFolder(settings.room.folder)
        self._resume()
        self._packets: queue.Queue[Packet] = queue.Queue(settings.watch.queue_length)
        self._sources: list[Source] = [
            build_source(one, clock, self._store.session(one.name)) for one in settings.sources
        ]
        self._by_name = {source.name: source for source in self._sources}
        self._sender = Sender(settings.store.path, self._channels, clock)
        self._batch: list[Packet] = []
        self._batch_since_s = 0.0
        self._wall_ahead_s = clock.wall_s() - clock.monotonic_s()
        self._store_problem = ""
        self._looked_s = self._folder_looked_s = -1e18

    def _open_store(self) -> Store:
        path, now_s = self._settings.store.path, self._clock.wall_s()
        try:
            return Store.open(path, now_s)
        except StoreCorrupt as error:
            aside = set_aside(path, now_s)
            self._say(f"{error}; moved aside to {aside}, a new store is begun")
            return Store.open(path, now_s)

    def _resume(self) -> None:
        resumed = resume(self._store, self._settings)
        self._road, self._book = resumed.road, resumed.book
        self._last_reading_id = resumed.last_reading_id
        self._last_journal_id = resumed.last_journal_id
        now_s = self._clock.wall_s()
        self._next_end_s = frame_end_s(now_s, self._settings.frames.length_s)
        self._dark_s = 0.0
        self._known_s = resumed.last_close.closed_s if resumed.last_close else WRITTEN_S
        if resumed.last_close is not None:
            self._dark_s = max(0.0, now_s - resumed.last_close.closed_s)
            self._next_end_s = max(
                self._next_end_s, resumed.last_close.end_s + self._settings.frames.length_s
            )
            self._store.add_note(now_s, "started", f"dark for {self._dark_s:.0f} s")
        else:
            self._store.add_note(now_s, "started", "a new store")

    def run(self, stop: threading.Event) -> None:
        """Watch until `stop` is set."""
        self._look_at_folder()
        self._sender.start()
        for source in self._sources:
            source.start(self._packets)
        try:
            while not stop.is_set():
                self._turn()
        finally:
            self._end()

    def _turn(self) -> None:
        """Wait for a packet or the next thing due; then do all that is due."""
        self._gather()
        monotonic_s = self._clock.monotonic_s()
        frames = self._settings.frames
        ended = ended_frames_s(
            self._next_end_s, self._clock.wall_s() - frames.grace_s, frames.length_s
        )
        if ended or self._commit_due(monotonic_s):
            self._commit()
        self._look_at_clock()
        if monotonic_s - self._looked_s >= LOOK_EVERY_S:
            self._looked_s = monotonic_s
            self._look_at_journal()
        if monotonic_s - self._folder_looked_s >= FOLDER_EVERY_S:
            self._look_at_folder()
        for end_s in ended:
            self._close(end_s)

    def _gather(self) -> None:
        """Take what the sources brought, waiting no longer than until the next thing is due."""
        wait_s = self._wait_s()
        while len(self._batch) < self._settings.store.commit_count:
            try:
                packet = self._packets.get(block=wait_s > 0, timeout=max(wait_s, 0.001))
            except queue.Empty:
                return
            if not self._batch:
                self._batch_since_s = self._clock.monotonic_s()
            self._batch.append(packet)
            wait_s = 0.0

    def _wait_s(self) -> float:
        """Seconds of life until a frame closes or the batch is due, at most half a second."""
        frame_s = self._next_end_s + self._settings.frames.grace_s - self._clock.wall_s()
        left_s = self._clock.real_s(frame_s)
        if self._batch:
            waited_s = self._clock.real_s(self._clock.monotonic_s() - self._batch_since_s)
            left_s = min(left_s, self._settings.store.commit_every_s - waited_s)
        return min(max(left_s, 0.001), LONGEST_WAIT_S)

    def _commit_due(self, monotonic_s: float) -> bool:
        if not self._batch:
            return False
        waited_s = self._clock.real_s(monotonic_s - self._batch_since_s)
        store = self._settings.store
        return len(self._batch) >= store.commit_count or waited_s >= store.commit_every_s

    def _commit(self) -> None:
        """Store the batch, put its readings on the road, acknowledge it."""
        if not self._batch:
            return
        packets, self._batch = self._batch, []
        trusted = self._clock_trusted()
        if not self._keep([self._arrival(packet, trusted) for packet in packets]):
            return
        for packet in packets:
            self._by_name[packet.source].acknowledge(packet)

    def _arrival(self, packet: Packet, trusted: bool) -> Arrival:
        """A packet decoded; what an unset clock stamped is marked before anybody looks."""
        if not trusted:
            packet = replace(packet, marks=(*packet.marks, Flag.CLOCK_UNSET))
        return Arrival(
            source=packet.source,
            dedup=packet.dedup,
            received_s=packet.received_s,
            monotonic_s=packet.monotonic_s,
            boot_id=self._clock.boot_id(),
            synced=trusted,
            decoded=self._by_name[packet.source].decode(packet),
            session=packet.session,
        )

    def _clock_trusted(self) -> bool:
        """Whether the wall clock may be believed: set, or at least not behind what is known.

        A farm without internet never synchronises; its clock is used and said to be unsure.
        """
        return self._clock.synced() or self._clock.wall_s() >= self._known_s

    def _keep(self, arrivals: list[Arrival]) -> bool:
        """Store arrivals and feed the road what the store now holds."""
        try:
            self._store.add_batch(arrivals)
            last = self._store.last_reading_id()
            flags: list[tuple[int, Flag]] = []
            for number, reading in self._store.readings_after(self._last_reading_id, last):
                step = take(self._road, reading)
                if step.flagged is not None:
                    flags.extend((number, flag) for flag in step.flagged.flags)
            self._last_reading_id = last
            if flags:
                self._store.add_flags(flags)
        except StoreError as error:
            self._trouble(error)
            return False
        self._store_problem = ""
        return True

    def _trouble(self, error: StoreError) -> None:
        if str(error) != self._store_problem:
            self._say(str(error))
        self._store_problem = str(error)

    def _look_at_clock(self) -> None:
        """Notice a step of the wall clock; what this boot stamped before it is stamped anew."""
        ahead_s = self._clock.wall_s() - self._clock.monotonic_s()
        step_s = ahead_s - self._wall_ahead_s
        self._wall_ahead_s = ahead_s
        if abs(step_s) < CLOCK_STEP_S:
            return
        now_s = self._clock.wall_s()
        self._say(f"the clock stepped by {step_s:+.0f} s")
        self._store.add_note(now_s, "clock stepped", f"{step_s:+.0f} s")
        if (moved := self._store.restamp(self._clock.boot_id(), step_s, now_s)) is not None:
            self._take_row(moved)
        self._next_end_s = max(
            frame_end_s(now_s, self._settings.frames.length_s),
            self._next_end_s if step_s < 0 else 0.0,
        )

    def _look_at_journal(self) -> None:
        """Take what other processes wrote: commands to alarms, entries of the book."""
        for row in self._store.journal_after(self._last_journal_id):
            self._take_row(row)

    def _take_row(self, row: LogItem) -> None:
        """Put what a row of the journal means on the road, as a rebuilt run would."""
        self._last_journal_id = row.id
        for item in as_items(row, self._book, self._store):
            step = take(self._road, item)
            if step.events:
                self._store.add_events(step.events, self._messages(step.events))
                self._tell(step.events)

    def _look_at_folder(self) -> None:
        """Take the room's folder into the book when a file in it changed."""
        self._folder_looked_s = self._clock.monotonic_s()
        try:
            folder = self._folder.changed()
        except FolderError as error:
            self._say(f"{error}; the bags and probes stay as they were")
            return
        if folder is not None:
            self._take_folder(folder)

    def _take_folder(self, folder: Folder) -> None:
        now_s = self._clock.wall_s()
        for skip in folder.skips.rows[:20]:
            self._say(f"{skip.file}:{skip.line}: {skip.reason}: {skip.detail}")
        probes = with_offsets(folder.probes, self._settings.probes)
        self._store.add_book(now_s, folder.bags.values(), probes.values())
        for entry in folder.book:
            self._store.add_entry(entry)
        self._keep([self._hand_arrival(reading) for reading in folder.walks[-WALK_ROWS:]])
        self._look_at_journal()
        self._say(f"the room's folder: {len(folder.bags)} bags, {len(folder.probes)} probes")

    def _hand_arrival(self, reading: Reading) -> Arrival:
        """A row of walks.csv; the same row read again is the same delivery."""
        return Arrival(
            source=reading.source,
            dedup=f"{reading.measured_s}:{reading.bag}:{reading.raw}:{reading.raw_unit}",
            received_s=self._clock.wall_s(),
            monotonic_s=self._clock.monotonic_s(),
            boot_id=self._clock.boot_id(),
            synced=self._clock_trusted(),
            decoded=Decoded((reading,)),
        )

    def _house(self) -> tuple[Condition, ...]:
        monotonic_s = self._clock.monotonic_s()
        found = house.of_sources((one.health(monotonic_s) for one in self._sources), monotonic_s)
        found += house.of_channels(self._sender.health())
        found += house.of_clock(self._clock.synced())
        found += house.of_store(self._store_problem)
        found += house.of_darkness(self._dark_s)
        self._dark_s = 0.0
        return tuple(found)

    def _close(self, end_s: float) -> None:
        """Close a frame: the road's outcome, its events and messages in one transaction."""
        conditions = self._house()
        outcome = take(self._road, Close(end_s, conditions)).outcome
        assert outcome is not None
        self._next_end_s = end_s + self._settings.frames.length_s
        try:
            self._store.close_frame(
                end_s,
                self._clock.wall_s(),
                self._last_reading_id,
                self._last_journal_id,
                events=outcome.events,
                messages=self._messages(outcome.events),
                estimates=outcome.verdicts.values() if end_s % ESTIMATE_S == 0 else (),
                house=conditions,
            )
            if end_s % CHECKPOINT_S == 0:
                self._store.save_checkpoint(end_s, checkpoint_text(self._road, self._book))
        except StoreError as error:
            self._trouble(error)
        self._tell(outcome.events)
        self._report(end_s, outcome)

    def _messages(self, events: tuple[AlarmEvent, ...]) -> list[Delivery]:
        return telling.messages(events, self._settings, self._clock.wall_s(), self._zone)

    def _tell(self, events: tuple[AlarmEvent, ...]) -> None:
        """Into the log, and off to the outbox."""
        for event in events:
            self._say(telling.event_line(event, self._settings.room.units, self._zone))
        if events:
            self._sender.wake()

    def _report(self, end_s: float, outcome: Outcome) -> None:
        """A line on how the room stands, every so often."""
        if self._standing_every_s and end_s % self._standing_every_s == 0:
            units = self._settings.room.units
            self._say(telling.standing_line(end_s, outcome, units, self._zone))

    def _end(self) -> None:
        """Commit what came, stop everything that was started."""
        for source in self._sources:
            source.stop()
        while not self._packets.empty():
            self._batch.append(self._packets.get_nowait())
        self._commit()
        self._sender.stop()
        self._store.add_note(self._clock.wall_s(), "stopped", "")
        self._store.close()
        self._lock.close()
