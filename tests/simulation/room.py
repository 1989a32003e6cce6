"""One seed played: a small room, its faults, processes that end and begin, and the checks."""

from __future__ import annotations

import gc
import queue
from collections.abc import Callable, Mapping, Sequence
from functools import cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory

from monitor.channels import Channel
from monitor.clock import Clock
from monitor.errors import StoreError
from monitor.live import Live, Wiring
from monitor.outbox.routing import GIVE_UP_S, Quiet
from monitor.settings.load import load_settings
from monitor.settings.schema import RecipientSettings, Settings, SourceSettings
from monitor.sources.source import Packet, Source
from monitor.store import open_reader
from monitor.store.deliveries import WAITING
from monitor.values import AlarmCommand, BookEntry, Transition
from tests.simulation.card import Card
from tests.simulation.checks import Checks
from tests.simulation.people import MOODS, FlakyChannel, HandTurnedSender
from tests.simulation.wires import Broker, BrokerClient, SerialLine
from tests.simulation.world import PowerCut, VirtualClock, World

HOURS = 2.0  # of virtual time; enough for a hold, a cut and a return
BAGS = tuple(f"B{number}" for number in range(1, 5))
AIR = ("air-low", "air-top")
PEOPLE = ("owner", "hand")
SETTINGS = """\
room: {name: Quarry Lane spawn run, folder: room, timezone: Europe/London, band_low: 18 C, band_high: 26 C}
sources:
  - {kind: mqtt, name: broker, host: h, topics: [{topic: "room/{probe}"}]}
  - {kind: serial, name: bench, port: /dev/null, line: {pattern: '(?P<probe>\\S+) (?P<value>.*)'}}
recipients:
  - {name: owner, urls: [{env: URL}], least_urgency: later}
  - {name: hand, urls: [{env: URL}], quiet: {from: "22:00", until: "06:30"}}
store: {path: room.db}
watch: {queue_length: 100}  # short, so that it fills
"""  # noqa: E501


@cache
def settings() -> Settings:
    """The settings, read once: the folder is put in for each seed."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "room").mkdir()
        (folder / "monitor.yaml").write_text(SETTINGS, encoding="utf-8")
        return load_settings(folder, {"URL": "json://127.0.0.1:9"})


def write_room(folder: Path) -> None:
    """Four bags of one cohort on one rack; the last one's probe hangs on the serial line."""
    rows = [
        f"{bag},batch,GO-12,lot,2026-11-23T08:00:00Z,2.3,R1,{number % 3 + 1},{number},p-{bag}"
        for number, bag in enumerate(BAGS)
    ]
    head = "bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe"
    (folder / "bags.csv").write_text("\n".join([head, *rows, ""]), encoding="utf-8")
    places = ["probe,place,rack,shelf", "air-low,air,R1,1", "air-top,air,R1,3"]
    places += [f"p-{bag},bag:{bag},R1,{number % 3 + 1}" for number, bag in enumerate(BAGS)]
    (folder / "probes.csv").write_text("\n".join([*places, ""]), encoding="utf-8")


class WorldQueue(queue.Queue[Packet]):
    """The queue of the watch: waiting at it is what lets virtual time pass, in coarse steps."""

    def __init__(self, world: World, length: int) -> None:
        super().__init__(length)
        self._world = world

    def get(self, block: bool = True, timeout: float | None = None) -> Packet:
        if self.empty() and block:
            self._world.advance(max(timeout or 0.0, self._world.chance.uniform(20.0, 280.0)))
        return super().get(block=False)


class Room:
    """A seed's world and the process that watches in it just now."""

    def __init__(self, seed: int, folder: Path, stick: Path | None = None) -> None:
        """`stick`: the folder of another medium that takes the spare."""
        self.world = World(seed)
        self.seed, self._folder, self.stick = seed, folder, stick
        (folder / "room").mkdir()
        write_room(folder / "room")
        self.broker = Broker(self.world)
        self.card = Card(self.path)
        self.channels = {name: FlakyChannel(self.world, name) for name in PEOPLE}
        self.ends = 0
        self.boots = 0
        self.live: Live | None = None
        self.values = 0
        self.checks = Checks(self)
        self.calm = False
        self._boot(behind_s=0.0, synced=True)
        self._plan()

    # -- what there is ---------------------------------------------------------------------

    @property
    def path(self) -> Path:
        return self._folder / "room.db"

    def settings(self) -> Settings:
        one = settings()
        room = one.room.model_copy(update={"folder": self._folder / "room"})
        store = one.store.model_copy(update={"path": self.path, "spare": self.stick})
        return one.model_copy(update={"room": room, "store": store})

    def _boot(self, behind_s: float, synced: bool) -> None:
        self.boots += 1
        self.clock = VirtualClock(self.world, self.boots, behind_s, synced=synced)

    def _plan(self) -> None:
        """Probes that speak, and faults at chance intervals; some seeds are calmer than others."""
        chance, world = self.world.chance, self.world
        for probe in (*AIR, *(f"p-{bag}" for bag in BAGS[:-1])):
            world.every(250.0, 350.0, partial(self._speak, probe))
        world.every(250.0, 350.0, self._serial)
        often = chance.choice((0.2, 0.4, 1.0))
        plans: tuple[tuple[float, Callable[[], None]], ...] = (
            (3.0, self._lose_broker), (2.0, self._end_process), (6.0, self._cut_power),
            (3.0, self._channel_mood), (6.0, self._store_fails), (4.0, self._act),
            (9.0, self._warm_spell), (9.0, self._fall_silent), (4.0, self._clock_ahead),
        )  # fmt: skip
        for hours, work in plans:
            if chance.random() < 0.7:
                world.every(900.0 * often, 7200.0 * hours * often, partial(self._if_stormy, work))

    def _if_stormy(self, work: Callable[[], None]) -> None:
        if not self.calm:
            work()

    # -- probes ----------------------------------------------------------------------------

    def _value(self, probe: str) -> float:
        """A temperature like no other: its last digits count up."""
        self.values += 1
        air_c = 22.0 + self.warmer_k + 0.3 * self.world.chance.random()
        return round(air_c + (0.0 if probe in AIR else 1.5), 2) + self.values * 1e-6

    warmer_k = 0.0
    mute = ""
    over = False

    def _speak(self, probe: str) -> None:
        if probe == self.mute or self.over:
            return
        value, now_s = round(self._value(probe), 6), self.world.now_s
        late_s = self.world.chance.uniform(0, 900) if self.world.chance.random() < 0.05 else 0.0
        if late_s:
            self.world.tell(f"{probe} is {late_s:.0f} s late", fault=not self.calm)
        self.world.after(late_s, partial(self.broker.publish, probe, value, now_s))

    def _serial(self) -> None:
        if self.over:
            return
        self.bench.line(f"p-{BAGS[-1]}", round(self._value(BAGS[-1]), 6))

    # -- faults ----------------------------------------------------------------------------

    def _lose_broker(self) -> None:
        for_s = self.world.chance.choice((1.0, 60.0, 2400.0))
        self.world.tell(f"the broker is gone for {for_s:.0f} s")
        self.client.lose(for_s)

    def _end_process(self) -> None:
        """A kill at one of the next looks at the clock."""
        self.world.tell("the process will be killed")
        self.clock.looks_left = self.world.chance.randrange(1, 200)

    def _cut_power(self) -> None:
        self.world.tell("the power will be cut")
        self.clock.looks_left = self.world.chance.randrange(1, 200)
        self.power_fails = True

    power_fails = False

    def _channel_mood(self) -> None:
        channel = self.channels[self.world.chance.choice(PEOPLE)]
        channel.mood = self.world.chance.choice(MOODS)
        self.world.tell(f"{channel.recipient}'s channel: {channel.mood}")

    def _store_fails(self) -> None:
        """No page can be added to the file until it is mended; some hiccups are over at once."""
        if self.live is None or self.card.full:
            return
        for_s = self.world.chance.choice((0.0, 60.0, 1800.0))
        self.world.tell(f"the card is full for {for_s:.0f} s")
        self.card.fill(self.live._log.store)
        if for_s:
            self.world.after(for_s, self._store_mended)
        else:
            self.card.full = False  # for who opens it anew

    def _store_mended(self) -> None:
        self.card.mend(self.live._log.store if self.live is not None else None)

    def _act(self) -> None:
        """A person acknowledges or shelves an alarm, from a process of its own; now and then a
        bag is booked as moved."""
        if self.world.chance.random() < 0.2:
            self._move_bag()
        with open_reader(self.path) as store:
            alarms = [one.alarm_id for one in store.events() if one.transition is Transition.RAISED]
        if alarms and self.live is not None:
            now_s = self.clock.wall_s()
            one = self.world.chance.choice(alarms)
            word = self.world.chance.choice(("acknowledge", "out of service", "in service"))
            command = AlarmCommand(now_s, word, one, by="owner", note="seen")
            try:
                self.checks.write(lambda store: store.add_command(command))
            except StoreError:
                self.world.tell("the command can't be written", fault=False)

    def _clock_ahead(self) -> None:
        """A bad time server, for minutes or an hour; later times than that are another boot's."""
        by_s = self.world.chance.choice((1200.0, 6 * 3600.0, 30 * 86400.0))
        for_s = self.world.chance.choice((180.0, 1500.0, 4000.0))
        self.world.tell(f"the clock is {by_s:.0f} s ahead for {for_s:.0f} s")
        self.clock.run_ahead(by_s)
        self.world.after(for_s, self.clock.set_right)

    def _move_bag(self) -> None:
        if self.live is None:
            return
        entry = BookEntry(self.clock.wall_s(), self.world.chance.choice(BAGS), "moved")
        try:
            self.checks.write(lambda store: store.add_entry(entry))
        except StoreError:
            self.world.tell("the entry can't be written", fault=False)

    def _warm_spell(self) -> None:
        self.warmer_k = 0.0 if self.warmer_k else 5.0
        self.world.tell(f"the air is {self.warmer_k:.0f} K warmer", fault=False)

    def _fall_silent(self) -> None:
        self.mute = "" if self.mute else f"p-{self.world.chance.choice(BAGS[:-1])}"
        self.world.tell(f"silent: {self.mute or 'nobody'}", fault=False)

    # -- the process -----------------------------------------------------------------------

    def _wiring(self) -> Wiring:
        def source(one: SourceSettings, clock: Clock, session: str) -> Source:
            return self.client if one.name == "broker" else self.bench

        def people(_: Sequence[RecipientSettings]) -> Mapping[str, Channel]:
            return self.channels

        def sender(
            path: Path, channels: Mapping[str, Channel], clock: Clock, quiet: Quiet
        ) -> HandTurnedSender:
            self.sender = HandTurnedSender(self.world, path, channels, clock, quiet)
            return self.sender

        return Wiring(source, people, sender, partial(WorldQueue, self.world))

    def start(self) -> None:
        self.client = BrokerClient(self.world, self.broker, self.clock)
        self.bench = SerialLine(self.clock)
        self.sender = HandTurnedSender(self.world, self.path, self.channels, self.clock)
        try:
            self.live = Live(self.settings(), self.clock, self._say, 0.0, self._wiring())
            self.live.begin()
            self.world.tell("the watch began", fault=False)
            return
        except PowerCut:
            pass
        self.lost_process()  # out of the `except`, whose frames hold on to the dead process

    def _say(self, line: str) -> None:
        self.world.tell(f"says: {line}", fault=False)

    def step(self) -> None:
        """One turn of the loop and one of the outbox; then all that must always hold."""
        if self.live is None:
            self.start()
            return
        try:
            self.live.turn()
            self.sender.step()
            self.checks.always()
            return
        except PowerCut:
            pass
        self.lost_process()

    def lost_process(self) -> None:
        """What was in memory is gone; a transaction under way is undone by SQLite."""
        self.checks.forgive(self.power_fails)
        self.client.stop()
        self.bench.stop()
        self.sender.abandon()
        self.ends += 1
        if self.live is not None:
            self.live._log.store.close()
            self.live._lock.close()
            self.live = None
        else:
            gc.collect()  # one that was cut off while it began leaves its lock to the collector
        for channel in self.channels.values():
            channel.forget()
        down_s = self.world.chance.uniform(5.0, 40.0)
        if self.power_fails:
            self.power_fails = False
            down_s = self.world.chance.choice((60.0, 1800.0, 7200.0))
            self._new_boot(down_s)
        self.world.tell(f"the process is gone for {down_s:.0f} s", fault=False)
        self.world.advance(down_s)

    def _new_boot(self, down_s: float) -> None:
        """A Pi has no clock of its own: it goes on where it was, until it is set."""
        behind_s = self.world.chance.choice((0.0, down_s, down_s + 86400.0))
        self._boot(behind_s, synced=behind_s == 0.0)
        if behind_s:
            self.world.after(down_s + self.world.chance.uniform(60.0, 1800.0), self.clock.set_right)

    def end(self) -> None:
        """All faults end, probes speak no more; what is on its way comes; the last checks."""
        self.calm, self.mute, self.warmer_k = True, "", 0.0
        self.clock.looks_left = None
        self._store_mended()
        for channel in self.channels.values():
            channel.mood = "ok"
        if self.live is None:
            self.start()
        self.clock.set_right()
        self.client.lose(1.0)
        self.over = True
        began_s = self.world.now_s
        while self.world.now_s < began_s + 1800.0 or not self.broker.idle:
            assert self.world.now_s < began_s + 6 * 3600.0, "the broker still holds messages"
            self.step()
        assert self.live is not None
        self.live.end()
        self.sender.abandon()
        self.checks.at_the_end()
        self._drain()

    def _drain(self) -> None:
        """Only the outbox, until nothing waits any more."""
        self.sender = HandTurnedSender(self.world, self.path, self.channels, self.clock)
        self.sender.start()
        until_s = self.world.now_s + GIVE_UP_S + 3600.0
        while self.world.now_s < until_s and self.checks.outbox_states().get(WAITING):
            self.sender.step()
            self.world.advance(1800.0)
        self.sender.abandon()
        self.checks.outbox_settled()


def play(seed: int, folder: Path, hours: float = HOURS) -> Room:
    """Play a seed; raises AssertionError with its number where something does not hold.

    Every other room has a stick for its spare, which must be on another disk than the folder.
    """
    with TemporaryDirectory() as stick:
        room = Room(seed, folder, Path(stick) if seed % 2 else None)
        try:
            with room.card.in_its_slot():
                while room.world.now_s < hours * 3600.0:
                    room.step()
                room.end()
        except (Exception, PowerCut) as error:
            text = f"seed {seed}: {type(error).__name__}: {error}"
            raise AssertionError(f"{text}; `python -m tests.simulation {seed}`") from error
    return room
