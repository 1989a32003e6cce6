"""The daemon's wiring: sources, logbook and outbox turned by one loop on the clock.

Sources only enqueue; a reading is stored before anything looks at it and acknowledged only
after the commit. Frames are closed on the wall clock, a grace after their end.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor import house
from monitor.batch import Batch
from monitor.channels import Channel, build_channels
from monitor.channels.heartbeat import Heartbeat, NoHeartbeat, Pulse
from monitor.clock import Clock, process_seconds
from monitor.errors import FolderError, SettingsError
from monitor.logbook import Logbook, Say
from monitor.mirror import Copying, Mirror, NoMirror
from monitor.morning import Morning
from monitor.neighbours.neighbours import build_neighbours
from monitor.neighbours.picture import Closed
from monitor.outbox import Quiet, Sender, quiet_hours
from monitor.road import Outcome
from monitor.room_folder import RoomFolder
from monitor.runner import ended_frames_s, frame_end_s
from monitor.set_back import WRITTEN_S, SetBack, Turn, put_by_last
from monitor.settings.schema import RecipientSettings, Settings, SourceSettings
from monitor.sources import build_source
from monitor.sources.source import Packet, Source
from monitor.store import Arrival
from monitor.store.lock import lock_store
from monitor.strains_file import StrainsFile
from monitor.values import Condition, Decoded, Flag, Reading
from monitor.watchdog import (
    CLOSE_LIMIT_S,
    SOURCE_LIMIT_S,
    TURN_LIMIT_S,
    Notifier,
    Part,
    Watchdog,
)
from monitor.words import duration

LOOK_EVERY_S = 1.0
FOLDER_EVERY_S = 10.0
#: The wall clock has stepped when it moved this much against the monotonic one.
CLOCK_STEP_S = 60.0
#: An end may take 5 s in all, whatever hangs, on a small Pi.
STOP_S = 2.0
STOP_OUTBOX_S = 1.5
#: Rows of walks.csv looked at when the file changes; fewer than the deliveries remembered.
WALK_ROWS = 1500


@dataclass(frozen=True, slots=True)
class Wiring:
    """What a watch is built from; a simulated room brings its own."""

    source: Callable[[SourceSettings, Clock, str], Source] = build_source
    channels: Callable[[Sequence[RecipientSettings]], Mapping[str, Channel]] = build_channels
    sender: Callable[[Path, Mapping[str, Channel], Clock, Quiet], Sender] = Sender
    packets: Callable[[int], queue.Queue[Packet]] = queue.Queue
    notifier: Notifier = field(default_factory=Notifier)
    strains: StrainsFile = field(default_factory=lambda: StrainsFile(None))
    saw: Callable[[Outcome], None] = lambda outcome: None
    kept: Callable[[float, float], None] = lambda oldest_s, at_s: None


class Live:
    """A watched room. `run` returns within seconds of `stop` being set.

    `begin`, `turn` and `end` are the pieces of `run`, for who turns it by hand.
    """

    def __init__(
        self,
        settings: Settings,
        clock: Clock,
        say: Say,
        standing_every_s: float = 3600.0,
        wiring: Wiring | None = None,
    ) -> None:
        """Open the store, rebuild the run, build the channels; start nothing yet.

        `standing_every_s` is how often a line on how the room stands is said, 0 for never.
        Raises StoreError, StoreTooNew, ChannelError.
        """
        self._settings = settings
        self._clock = clock
        self._say = say
        self._standing_every_s = standing_every_s
        wiring = wiring or Wiring()
        self._saw, self._kept = wiring.saw, wiring.kept
        channels = wiring.channels(settings.recipients)
        self._lock = lock_store(settings.store.path)
        self._log = Logbook(settings, clock, say)
        quiet = quiet_hours(settings.recipients, ZoneInfo(settings.room.timezone))
        self._sender = wiring.sender(self._log.store.path, channels, clock, quiet)
        self._sent_from = self._log.store
        self._morning = Morning(settings, say, self._sender.wake)
        self._folder = RoomFolder(settings.room.folder)
        self._strains = wiring.strains
        self._packets = wiring.packets(settings.watch.queue_length)
        self._sources: dict[str, Source] = {
            one.name: wiring.source(one, clock, self._log.store.session(one.name))
            for one in settings.sources
        }
        self._watchdog = Watchdog(wiring.notifier)
        self._heartbeat: Pulse = NoHeartbeat()
        if settings.heartbeat is not None:
            self._heartbeat = Heartbeat(settings.heartbeat, clock, self._watchdog.alive)
        self._mirror: Copying = NoMirror()
        if settings.mirror is not None:
            path, name = settings.store.path, settings.room.name
            self._mirror = Mirror(settings.mirror, name, path, clock, lambda: self._log.settled_id)
        self._neighbours = build_neighbours(settings, clock, say)
        self._batch = Batch(settings.store, clock, self._packets)
        self._wall_ahead_s = clock.wall_s() - clock.monotonic_s()
        self._set_back = SetBack(settings.frames.length_s)
        self._started_s = self._closed_s = clock.monotonic_s()
        self._journal_read_s = self._folder_read_s = clock.monotonic_s()
        self._find_place()

    def _find_place(self) -> None:
        """Where frames go on, and how long nobody watched."""
        now_s, last = self._clock.wall_s(), self._log.last_close
        self._next_end_s = self._next_frame_s(now_s)
        self._known_s = WRITTEN_S
        self._dark_from_s = now_s
        if last is not None:
            self._known_s = self._dark_from_s = last.closed_s
        self._trusted = self._clock_trusted()
        self._set_darkness(now_s)

    def _next_frame_s(self, now_s: float) -> float:
        """The end of the frame that holds `now_s`, or of the first one not closed yet."""
        last, length_s = self._log.last_close, self._settings.frames.length_s
        present_s = frame_end_s(now_s, length_s)
        return present_s if last is None else max(present_s, last.end_s + length_s)

    def _set_darkness(self, until_s: float) -> None:
        dark_s = max(0.0, until_s - self._dark_from_s)
        self._darkness = house.Darkness(dark_s, self._log.air_before())
        self._log.note("started", f"dark for {duration(dark_s)}" if dark_s >= 1.0 else "")

    def run(self, stop: threading.Event) -> None:
        """Watch until `stop` is set."""
        try:
            self.begin()
            while not stop.is_set():
                self.turn()
        finally:
            self.end()

    def begin(self) -> None:
        """Read the room's folder, start the outbox and the sources."""
        self._read_folder()
        self._sender.start()
        for source in self._sources.values():
            source.start(self._packets)
        self._heartbeat.start()
        self._mirror.start()
        self._neighbours.start()
        self._watchdog.ready()

    def turn(self) -> None:
        """Wait for a packet or the next thing due; then do all that is due."""
        frames = self._settings.frames
        frame_s = self._next_end_s + frames.grace_s - self._clock.wall_s()
        self._batch.gather(self._clock.real_s(frame_s))
        self._look_at_clock()
        self._mind_set_back()
        ended = ended_frames_s(
            self._next_end_s, self._clock.wall_s() - frames.grace_s, frames.length_s
        )
        if ended or self._batch.due():
            self._commit()
        monotonic_s = self._clock.monotonic_s()
        if self._clock.real_s(monotonic_s - self._journal_read_s) >= LOOK_EVERY_S:
            self._journal_read_s = monotonic_s
            if self._log.read_journal(self._clock.wall_s()):
                self._sender.wake()
            self._log.look_after()
        if self._clock.real_s(monotonic_s - self._folder_read_s) >= FOLDER_EVERY_S:
            self._read_folder()
        self._read_strains()
        for end_s in ended:
            self._close(end_s)
        if self._sent_from is not self._log.store:
            self._sent_from = self._log.store
            self._sender.use(self._sent_from.path)
            self._mirror.again()
            self._neighbours.again()
        self._morning.look(self._clock.wall_s())
        self._watchdog.look(self._parts(), self._faults())

    def _parts(self) -> list[Part]:
        """How each part gets on; that the main loop does is told by this being asked.

        A close is overdue by the clock on the wall, so that a wrong clock starts nothing anew.
        """
        overdue_s = self._clock.wall_s() - self._settings.frames.grace_s - self._next_end_s
        monotonic_s = self._clock.monotonic_s()
        return [
            Part("outbox", self._sender.idle_s(), TURN_LIMIT_S),
            Part("judge", self._clock.real_s(overdue_s), CLOSE_LIMIT_S),
            *(
                Part(f"source {name}", source.health(monotonic_s).idle_s, SOURCE_LIMIT_S)
                for name, source in self._sources.items()
            ),
        ]

    def _faults(self) -> list[str]:
        """Why the monitor is of no use just now although every part of it is at work."""
        faults = [self._log.problem, self._sender.problem]
        unjudged_s = self._clock.monotonic_s() - self._closed_s
        if unjudged_s > 2 * self._settings.frames.length_s + CLOSE_LIMIT_S:
            faults.append("no frame is closed")  # as by a clock that is far behind
        return [fault for fault in faults if fault]

    def _commit(self) -> None:
        """Store the batch, put its readings on the road, acknowledge it once it is kept."""
        kept = self._batch.commit(
            lambda packets: self._log.keep([self._arrival(packet) for packet in packets])
        )
        for packet in kept:
            self._sources[packet.source].acknowledge(packet)
        if kept:
            self._kept(kept[0].monotonic_s, self._clock.monotonic_s())

    def _arrival(self, packet: Packet) -> Arrival:
        """A packet decoded; what an unset clock stamped is marked before anybody looks."""
        ahead_s = packet.received_s - packet.monotonic_s
        before_step = abs(ahead_s - self._wall_ahead_s) < CLOCK_STEP_S
        trusted = self._trusted if before_step else self._clock_trusted()
        if not trusted:
            packet = replace(packet, marks=(*packet.marks, Flag.CLOCK_UNSET))
        return Arrival(
            source=packet.source,
            dedup=packet.dedup,
            received_s=packet.received_s,
            monotonic_s=packet.monotonic_s,
            boot_id=self._clock.boot_id(),
            synced=trusted,
            decoded=self._sources[packet.source].decode(packet),
            session=packet.session,
        )

    def _clock_trusted(self) -> bool:
        """Whether the wall clock may be believed: set, or at least not behind what is known.

        A farm without internet never synchronises; its clock is used and said to be unsure.
        """
        return self._clock.synced() or self._clock.wall_s() >= self._known_s

    def _look_at_clock(self) -> None:
        """Notice a step of the wall clock; what this boot stamped before it is stamped anew."""
        ahead_s = self._clock.wall_s() - self._clock.monotonic_s()
        step_s = ahead_s - self._wall_ahead_s
        if abs(step_s) >= CLOCK_STEP_S:
            self._commit()  # what is waiting bears the old stamp
            self._wall_ahead_s = ahead_s
            self._stepped(step_s)
        self._wall_ahead_s, self._trusted = ahead_s, self._clock_trusted()

    def _stepped(self, step_s: float) -> None:
        self._say(f"the clock stepped by {step_s:+.0f} s")
        now_s = self._clock.wall_s()
        self._set_back.stepped(step_s, now_s)
        self._log.restamp(self._clock.boot_id(), step_s, now_s)
        if not self._trusted:  # only now is it known how long nobody watched
            watched_s = self._clock.monotonic_s() - self._started_s
            self._set_darkness(now_s - watched_s)
        self._next_end_s = self._next_frame_s(now_s)

    def _mind_set_back(self) -> None:
        """Judging must not wait until the clock has passed frames that it closed while ahead."""
        last, now_s = self._log.last_close, self._clock.wall_s()
        if last is None:
            return
        monotonic_s, synced = self._clock.monotonic_s(), self._clock.synced()
        turn = self._set_back.look(last.end_s, now_s, monotonic_s, self._log.store, synced=synced)
        if turn is Turn.GO_BACK:
            self._commit()
            self._go_back(now_s)
        elif turn is Turn.TELL:
            self._say("the clock is behind the last frame: no bag is judged until it is right")
            self._log.tell_behind(now_s)
            self._sender.wake()

    def _go_back(self, now_s: float) -> None:
        """Go on at the present, from the last frame that is not in the future."""
        if not self._log.set_back(now_s):
            return
        self._say("the clock had been ahead: what it closed then is set aside, judging goes on")
        self._log.note("clock set back", "what was closed in its future is set aside")
        last = self._log.last_close
        # The frame that has just ended is closed at once, so that people are told.
        self._next_end_s = self._next_frame_s(now_s - self._settings.frames.length_s)
        self._known_s = WRITTEN_S if last is None else min(now_s, last.closed_s)
        self._trusted = self._clock_trusted()
        self._darkness = house.Darkness(0.0, house.Air())  # we were there all along
        self._morning.set_back()

    def _read_folder(self) -> None:
        """Take the room's folder into the book when a file in it changed."""
        self._folder_read_s = self._clock.monotonic_s()
        try:
            folder = self._folder.changed()
        except FolderError as error:
            self._say(f"{error}; the bags and probes stay as they were")
            return
        if folder is not None:
            walks = [self._hand_arrival(reading) for reading in folder.walks[-WALK_ROWS:]]
            if not self._log.take_folder(folder, walks, self._clock.wall_s()):
                self._folder.again()

    def _read_strains(self) -> None:
        """Take the strains when their file changed, whole or not at all."""
        try:
            strains = self._strains.changed(process_seconds())
        except SettingsError as error:
            self._say("\n".join([*error.problems, f"{error}; the strains stay as they were"]))
            return
        if strains is not None:
            self._log.take_strains(strains)

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
        """What the monitor says of itself at this close; the dark is told once it is over."""
        monotonic_s = self._clock.monotonic_s()
        healths = [source.health(monotonic_s) for source in self._sources.values()]
        return (
            *house.of_sources(healths, monotonic_s, self._started_s),
            *house.of_channels(self._sender.health()),
            *house.of_heartbeat(self._heartbeat.health()),
            *house.of_mirror(self._mirror.health(), self._clock.wall_s()),
            *house.of_neighbours(self._neighbours.health(), self._clock.wall_s()),
            *house.of_clock(self._clock.synced()),
            *house.of_set_back(put_by_last(self._log.store)),
            *house.of_store(self._log.problem),
            *self._darkness.at_close(self._log.air_since),
        )

    def _close(self, end_s: float) -> None:
        if self._log.problem:  # is it still so? A hiccup that is over is nobody's alarm
            self._log.look_after(at_once=True)
        said = self._house()
        outcome = self._log.close(end_s, self._clock.wall_s(), said)
        self._next_end_s = end_s + self._settings.frames.length_s
        self._closed_s = self._clock.monotonic_s()
        self._saw(outcome)
        self._neighbours.closed(Closed(outcome, said, self._log.problem, self._log.store.path))
        if outcome.events:
            self._sender.wake()
        if self._standing_every_s and end_s % self._standing_every_s == 0:
            self._log.say_standing(end_s, outcome)

    def end(self) -> None:
        """Commit what came, stop everything that was started, within seconds.

        All are stopped side by side: one that hangs must not use up the others' time.
        """
        self._watchdog.stopping()
        self._heartbeat.stop()
        stops = [source.stop for source in self._sources.values()]
        beside = (self._sender, self._mirror, self._neighbours)
        stops += [partial(one.stop, STOP_OUTBOX_S) for one in beside]
        ends = [threading.Thread(target=stop, daemon=True) for stop in stops]
        for end in ends:
            end.start()
        until_s = process_seconds() + STOP_S
        for end in ends:
            end.join(max(0.0, until_s - process_seconds()))
        self._batch.gather_all()
        self._commit()
        self._log.note("stopped", "")
        self._log.store.close()
        self._lock.close()
