"""What must hold at every step of a simulated room, and once all faults are over."""

from __future__ import annotations

import re
import sqlite3
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from monitor import telling
from monitor.resume import resume
from monitor.store import Store, open_reader
from monitor.store.deliveries import DELIVERED, EXPIRED, REFUSED
from monitor.store.spare_place import lying, spare_path

if TYPE_CHECKING:
    from tests.simulation.room import Room

#: Messages that no event of the log asks for: of what was set aside, and that nothing is judged.
NO_EVENT = ("aside ", "clock-behind-")
_ASIDE = re.compile(r"^(aside \d+: )+")
LOOK_EVERY = 20  # steps between looks into the file


class Checks:
    """The invariants of a room, and what a cut forgives."""

    def __init__(self, room: Room) -> None:
        self._room = room
        self._steps = 0
        self._handed: set[float] = set()
        self._forgiven: set[float] = set()
        self.looks = 0

    def write(self, work: Callable[[Store], object]) -> None:
        """Write as another process would."""
        with Store.open(self._room.path, self._room.clock.wall_s(), check=False) as store:
            work(store)

    def forgive(self, power_fails: bool) -> None:
        """Serial lines not committed when the process ended can't be asked for again.

        What a full card had put into a spare in memory goes with the power as well, and the
        spare's file with it; what lies on a stick stays.
        """
        stored, memory = self._stored(), spare_path(self._room.path)
        if power_fails and memory is not None and memory.exists():
            self._forgiven |= values(memory).keys() - stored.keys()
            for end in ("", "-wal", "-shm"):
                memory.with_name(memory.name + end).unlink(missing_ok=True)
        stored = self._spared() | stored
        handed = set(self._room.bench.handed)
        self._handed |= handed & stored.keys()
        self._forgiven |= handed - stored.keys()

    def always(self) -> None:
        live = self._room.live
        assert live is not None
        assert live._packets.qsize() <= live._packets.maxsize
        assert len(live._batch) <= live._settings.store.commit_count
        self._steps += 1
        if self._steps % LOOK_EVERY == 0:
            self.look()

    def look(self) -> None:
        """Into the file: acknowledged is stored, once; frames go forward; ids are unique."""
        self.looks += 1
        stored = self._stored()
        assert not [value for value, times in stored.items() if times > 1], "stored twice"
        missing = self._room.broker.acknowledged - stored.keys() - self._forgiven
        missing -= self._spared().keys() if missing else set()
        assert not missing, f"acknowledged and not stored: {sorted(missing)[:3]}"
        with closing(self._connection()) as connection:
            ends = [row[0] for row in connection.execute("SELECT end_s FROM frames ORDER BY id")]
            assert ends == sorted(set(ends)), "frames do not go forward"
            for table, name in (("events", "event_id"), ("outbox", "message_id")):
                twice = connection.execute(
                    f"SELECT {name} FROM {table} GROUP BY {name} HAVING COUNT(*) > 1"
                ).fetchall()
                assert not twice, f"{table}: {twice[:3]}"

    def at_the_end(self) -> None:
        """Nothing is missing, and a clean replay of the log tells the same."""
        self.look()
        room = self._room
        stored = self._stored()
        missing = room.broker.published - stored.keys() - self._forgiven
        assert not missing, f"lost from the broker: {len(missing)}, such as {sorted(missing)[:3]}"
        lines = (self._handed | set(room.bench.handed)) - self._forgiven
        assert lines <= stored.keys() | self._forgiven, "lost from the serial line"
        settings = room.settings()
        with open_reader(room.path) as store:
            told = store.events()
            again = resume(store, settings, from_start=True)
            messages = {
                one.delivery.message.message_id
                for one in store.outbox(limit=100_000)
                if not one.delivery.message.message_id.startswith(NO_EVENT)
            }
        assert again.events == told, "a replay of the log tells something else"
        zone = ZoneInfo(settings.room.timezone)
        due = telling.messages(told, settings, 0.0, zone)
        assert {one.message.message_id for one in due} == messages, "a message too few or many"

    def outbox_states(self) -> Counter[str]:
        with closing(self._connection()) as connection:
            return Counter(
                dict(connection.execute("SELECT state, COUNT(*) FROM outbox GROUP BY 1"))
            )

    def outbox_settled(self) -> None:
        """Every message reached its person, was refused by the channel, or is too old."""
        assert not self.outbox_states().keys() - {DELIVERED, EXPIRED, REFUSED}, self.outbox_states()
        with open_reader(self._room.path) as store:
            rows = store.outbox(limit=100_000)
        for row in rows:
            message, channel = (
                row.delivery.message,
                self._room.channels[row.delivery.message.recipient],
            )
            went_as = row.bundle or _ASIDE.sub("", message.message_id)
            times = channel.arrived[went_as]
            if row.delivery.state == DELIVERED:
                assert times >= 1, f"{went_as} never arrived"
            elif row.delivery.state == REFUSED:
                assert went_as in channel.refused
            # each end of a process may cut off an answer, and the last was before the drain
            assert times <= 2 + self._room.ends, f"{went_as} arrived {times} times"

    def _connection(self) -> sqlite3.Connection:
        return sqlite3.connect(f"file:{self._room.path}?mode=ro", uri=True)

    def _stored(self) -> dict[float, int]:
        return values(self._room.path)

    def _spared(self) -> dict[float, int]:
        """What lies in a spare, on a stick or in memory."""
        spares = lying(self._room.path, self._room.stick)
        return {value: times for one in spares for value, times in values(one).items()}


def values(path: Path) -> dict[float, int]:
    """Every raw value of a store and how often it is there."""
    if not path.exists():
        return {}
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        return dict(connection.execute("SELECT raw, COUNT(*) FROM readings GROUP BY raw"))
