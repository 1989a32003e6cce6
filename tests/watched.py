"""A watched room without sources: a logbook fed by hand on a turned clock."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from monitor.errors import StoreUnwritable
from monitor.logbook import Logbook
from monitor.resume import resume
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.sources.folder import read_folder
from monitor.store import Arrival, open_reader, spare_path
from monitor.values import AlarmKind, Condition, Decoded, Facts, Quantity, Reading, Reason, Urgency
from tests.clocks import TurnedClock

NOW_S = 1_796_000_400.0
FRAME_S = 60.0
GONE = Condition(AlarmKind.HOUSE, "source x", Urgency.TODAY, Reason.SOURCE_SILENT, Facts())


class Room:
    """A logbook with what it needs, fed a reading a second."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.settings: Settings = load_settings(folder, {})
        self.clock = TurnedClock(NOW_S)
        self.said: list[str] = []
        self.sent = 0
        self.open()

    def open(self) -> None:
        self.log = Logbook(self.settings, self.clock, self.said.append)
        self.log.take_folder(read_folder(self.folder / "room"), [], NOW_S)

    def forget_spare(self) -> None:
        """Take what a failing card left in memory off the machine."""
        spare = spare_path(self.settings.store.path)
        assert spare is not None
        for suffix in ("", "-wal", "-shm"):
            spare.with_name(spare.name + suffix).unlink(missing_ok=True)

    def send(self, count: int, from_c: float = 15.0) -> bool:
        """Hand over a batch; each reading's value is its number, in mK over `from_c`."""
        arrivals = []
        for _ in range(count):
            self.clock.pass_s(1.0)
            now_s = self.clock.wall_s()
            value = from_c + self.sent / 1000
            one = Reading(
                f"k{self.sent % 5}", Quantity.TEMPERATURE, value, now_s, now_s, "x", raw=self.sent
            )
            self.sent += 1
            arrivals.append(
                Arrival("x", f"d{self.sent}", now_s, now_s, "boot-1", True, Decoded((one,)), "s1")
            )
        return self.log.keep(arrivals)

    def minute(self, house: tuple[Condition, ...] = ()) -> None:
        """Thirty readings, then the close of their frame."""
        assert self.send(30)
        self.close(house)

    def close(self, house: tuple[Condition, ...] = ()) -> None:
        """The close of the frame that runs, without a reading."""
        end_s = (self.clock.wall_s() // FRAME_S + 1) * FRAME_S
        self.clock.pass_s(end_s - self.clock.wall_s())
        self.log.close(end_s, self.clock.wall_s(), house)

    def fill_card(self) -> None:
        """From now on the store's own connection finds the disk full."""
        self.log.store.connection.execute("PRAGMA max_page_count = 1")
        with pytest.raises(StoreUnwritable, match="full"):
            while True:
                self.log.store.add_note(NOW_S, "filled", "x" * 1000)

    def after_back_off(self) -> bool:
        self.clock.pass_s(60.0)
        return self.log.look_after()

    def check(self) -> None:
        """Every reading is on the card once, and a rebuilt run stands where this one stands."""
        with open_reader(self.settings.store.path) as store:
            rows = Counter(int(one.raw or 0) for _, one in store.readings_after(0, 10**6))
            rebuilt = resume(store, self.settings)
            whole = resume(store, self.settings, from_start=True)
        assert rows == Counter(range(self.sent))
        assert rebuilt.road.state() == self.log._road.state()
        assert whole.road.state() == self.log._road.state()
