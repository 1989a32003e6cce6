"""A store as a watch would have left it: the demo's room run through the real judge, no clock.

Frames follow each other as fast as they can be judged; pictures and tests of the page begin
from here instead of waiting for days to pass.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from demo.folder import BAG_COLUMNS, bag_rows, probe_rows, write_csv
from demo.live import LiveRoom, ProbeReading
from demo.rooms import Room
from monitor.logbook import Logbook
from monitor.settings.schema import Settings
from monitor.sources.folder import read_folder
from monitor.store import Arrival
from monitor.terms import Quantity
from monitor.values import Decoded, Reading

FRAME_S = 600.0
BOOT = "the-room-before"


class HandClock:
    """A clock that stands until it is set."""

    def __init__(self, now_s: float) -> None:
        self.now_s = now_s

    def wall_s(self) -> float:
        return self.now_s

    def monotonic_s(self) -> float:
        return self.now_s

    def boot_id(self) -> str:
        return BOOT

    def synced(self) -> bool:
        return True

    def real_s(self, interval_s: float) -> float:
        return interval_s


def write_room(folder: Path, room: Room) -> None:
    """The room's folder: its bags and probes."""
    folder.mkdir(parents=True, exist_ok=True)
    write_csv(folder / "bags.csv", BAG_COLUMNS, bag_rows(room))
    write_csv(folder / "probes.csv", ["probe", "place", "rack", "shelf"], probe_rows(room))


def fill(
    settings: Settings, room: Room, end_s: float, say: Callable[[str], None] = lambda line: None
) -> LiveRoom:
    """Watch the room until `end_s` and leave the store behind; returns the room as it stands."""
    live = LiveRoom(room, keep_truth=False)
    clock = HandClock(live.now_s)
    log = Logbook(settings, clock, say)
    assert settings.room.folder is not None
    log.take_folder(read_folder(settings.room.folder), [], clock.now_s)
    while clock.now_s + FRAME_S <= end_s:
        said = live.advance(clock.now_s + FRAME_S)
        clock.now_s += FRAME_S
        log.keep([_arrival(reading, number) for number, reading in enumerate(said)])
        log.close(clock.now_s, clock.now_s, ())
    log.store.close()
    return live


def _arrival(said: ProbeReading, number: int) -> Arrival:
    humid = said.quantity == "humidity"
    reading = Reading(
        said.probe,
        Quantity(said.quantity),
        said.value,
        said.time_s,
        said.time_s,
        "rack line",
        raw=said.value,
        raw_unit="%RH" if humid else "Cel",
    )
    return Arrival("rack line", "", said.time_s, said.time_s, BOOT, True, Decoded((reading,)))
