"""Four daemons in four processes, one mosquitto, one VictoriaMetrics: a farm as it is run.

One daemon is killed without a word, one is cut off from the broker; the others and the farm's
view go on, and nothing that a probe said is lost or doubled.
"""

from __future__ import annotations

import signal
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import httpx

from monitor.farm.listener import Heard, Listener
from monitor.farm.lot_nouns import LotReason
from monitor.farm.standing import Hearing, RoomStanding
from monitor.farm.words import lot_caution
from monitor.settings.schema_neighbours import NeighbourSettings
from monitor.store import copied, open_reader
from tests.broker import Broker, running_broker
from tests.farm.line import Line
from tests.farm.rooms import (
    END_S,
    FACTOR,
    FRAME_S,
    SITE,
    FarmClock,
    FarmRoom,
    Voices,
    make_rooms,
    rehearsal,
)
from tests.faults.warm import Forked, Start, warm
from tests.victoria import Victoria, running_victoria
from tests.waiting import free_port, wait_until

CUT_OFF, KILLED, PAGED = "Halle 2/östlich", "North", "East"
PAGE_URL = "https://pi-east.example:8423"
#: A frame's close, the judge's work on two cores shared by many, and the message.
SOON_S = 40.0


@dataclass
class Farm:
    """The farm as it runs, and how it looks from outside."""

    rooms: dict[str, FarmRoom]
    line: Line
    victoria: Victoria
    listener: Listener
    page: int
    start: Callable[[str], None]
    watches: dict[str, Forked]
    voices: Voices

    def heard(self) -> Heard:
        return self.listener.heard()

    def room(self, name: str) -> RoomStanding:
        return next(one for one in self.heard().view.rooms if one.room == name)

    def said_at_s(self, name: str) -> float:
        """The close that a room's newest word is of."""
        summary = self.room(name).summary
        return summary.at_s if summary else 0.0

    def hears(self, **hearing: Hearing) -> bool:
        return all(self.room(name).hearing is one for name, one in hearing.items())

    def goes_on(self, names: set[str]) -> None:
        """These rooms close two more frames, each as in a farm where nothing is amiss."""
        before = {name: self.said_at_s(name) for name in names}

        def on() -> bool:
            return all(
                self.said_at_s(name) >= before[name] + 2 * FRAME_S
                and self.room(name).hearing is Hearing.HEARD
                for name in names
            )

        wait_until(on, SOON_S, f"{names} go on")


@contextmanager
def running_farm(folder: Path, broker: Broker, victoria: Victoria, start: Start) -> Iterator[Farm]:
    line, page = Line(broker.port), free_port()
    names = {"North", "South", PAGED, CUT_OFF}
    ports = {name: line.port if name == CUT_OFF else broker.port for name in names}
    more = f"mirror: {{url: {victoria.url}, site: {SITE}, every: 1 s}}\n"
    rooms = make_rooms(folder, ports, more)
    with (rooms[PAGED].folder / "monitor.yaml").open("a", encoding="utf-8") as file:
        file.write(f"page: {{port: {page}}}\nbook: {{page_url: {PAGE_URL}}}\n")
    origin_s = time.time()
    clock = FarmClock(END_S, FACTOR, origin_s)
    watches: dict[str, Forked] = {}

    def watch(name: str) -> None:
        watches[name] = start(rooms[name].folder, "--rehearse", rehearsal(origin_s))

    listener = Listener(NeighbourSettings(host="127.0.0.1", port=broker.port), clock)
    listener.start()
    for name in rooms:
        watch(name)
    subscribed = [f"SUBACK to bagwatt-{one.key}" for one in rooms.values()]
    wait_until(lambda: all(one in broker.log() for one in subscribed), SOON_S, "all listen")
    voices = Voices(broker.port, rooms, clock)
    try:
        yield Farm(rooms, line, victoria, listener, page, watch, watches, voices)
    finally:
        listener.stop()
        line.close()


def stored(room: FarmRoom) -> Counter[tuple[str, float, float]]:
    """How often each reading of the rehearsal is in a room's store."""
    with open_reader(room.folder / "bagwatt.db") as store:
        rows = copied.readings(store, 0, store.last_reading_id())
        return Counter((one.probe, one.at_s, one.value) for one in rows if one.at_s >= END_S)


def mirrored(victoria: Victoria, room: FarmRoom) -> Counter[tuple[str, float, float]]:
    """How often the server of time series has each reading of a room, by the room's tag."""
    match = f'{{__name__="reading_temperature_c",site="{SITE}",room="{room.name}"}}'
    return Counter(
        (series.labels["probe"], at_s, value)
        for series in victoria.series(match)
        for at_s, value in series.points
    )


def all_of(room: FarmRoom) -> Counter[tuple[str, float, float]]:
    """Every reading of a room's store, also those of the days before, as the server names them."""
    with open_reader(room.folder / "bagwatt.db") as store:
        rows = copied.readings(store, 0, store.last_reading_id())
        return Counter(
            (one.probe, round(one.at_s, 3), one.value)
            for one in rows
            if one.quantity == "temperature"
        )


def test_a_farm_of_four_rooms_one_killed_one_cut_off(tmp_path: Path) -> None:
    broker_folder = tmp_path / "broker"
    broker_folder.mkdir()
    with (
        running_broker(broker_folder) as broker,
        running_victoria(tmp_path) as victoria,
        warm() as start,
        running_farm(tmp_path, broker, victoria, start) as farm,
    ):
        everybody = set(farm.rooms)
        wait_until(
            lambda: {one.room for one in farm.heard().view.rooms if one.heard} == everybody,
            SOON_S,
            "all four rooms are heard",
        )
        farm.goes_on(everybody)
        one_bad_lot(farm)
        the_page_of_one_room_shows_them_all(farm)
        one_is_killed(farm, everybody - {KILLED})
        one_is_cut_off(farm, everybody - {KILLED, CUT_OFF})
        both_come_back(farm, everybody)
        nothing_is_lost_or_doubled(farm)


def one_bad_lot(farm: Farm) -> None:
    """Half a lot is called in North and in South, each by its own judge: one finding."""
    wait_until(lambda: farm.heard().lots.bad, SOON_S, "the lot is told")
    (lot,) = farm.heard().lots.bad
    assert (lot.spawn_lot, lot.reason) == ("lot-0", LotReason.CALLED)
    assert {one.room for one in lot.where} == {"North", "South"}
    assert {one.room for one in lot.shares} == set(farm.rooms)


def the_page_of_one_room_shows_them_all(farm: Farm) -> None:
    def shown() -> str:
        return httpx.get(f"http://127.0.0.1:{farm.page}/farm", timeout=20.0).text

    found: list[str] = []

    def whole() -> bool:
        found[:] = [shown()]
        lot = "lot-0 of GO-12 is warmer than the other lots in 2 rooms" in found[0]
        return lot and "not heard" not in found[0]

    wait_until(whole, SOON_S, "the page shows all rooms and the lot")
    assert all(name in found[0] for name in farm.rooms)
    summary = farm.room(PAGED).summary
    assert summary is not None and summary.page == PAGE_URL


def one_is_killed(farm: Farm, others: set[str]) -> None:
    """The broker says it in its place; what it last said stands, and the lot with it."""
    farm.watches[KILLED].end(signal.SIGKILL)
    wait_until(lambda: farm.hears(**{KILLED: Hearing.GONE}), 5.0, "its last will is heard")
    assert farm.room(KILLED).summary is not None
    farm.goes_on(others)
    said = f"As last heard: {KILLED}."
    wait_until(lambda: [lot_caution(lot) for lot in farm.heard().lots.bad] == [said], SOON_S, said)


def one_is_cut_off(farm: Farm, others: set[str]) -> None:
    """No byte passes any more: the broker gives up after one and a half keepalives of 5 s."""
    farm.line.cut()
    before_s = farm.said_at_s(CUT_OFF)
    wait_until(lambda: farm.hears(**{CUT_OFF: Hearing.GONE}), 15.0, "it is given up")
    farm.goes_on(others)
    assert farm.said_at_s(CUT_OFF) <= before_s + FRAME_S
    assert farm.watches[CUT_OFF].running()


def both_come_back(farm: Farm, everybody: set[str]) -> None:
    """The newest word arrives; what the probes said meanwhile comes from the broker's queue."""
    farm.start(KILLED)
    farm.line.mend()
    wait_until(
        lambda: farm.hears(**dict.fromkeys(everybody, Hearing.HEARD)), SOON_S, "all are back"
    )
    farm.goes_on(everybody)
    newest_s = [farm.said_at_s(name) for name in everybody]
    assert max(newest_s) - min(newest_s) <= 2 * FRAME_S


def nothing_is_lost_or_doubled(farm: Farm) -> None:
    farm.voices.end()
    for room in farm.rooms.values():
        wait_until(partial(lambda one: stored(one) == Counter(one.spoken), room), SOON_S, room.name)
    for room in farm.rooms.values():
        kept = partial(lambda one: mirrored(farm.victoria, one) == all_of(one), room)
        wait_until(kept, SOON_S, f"{room.name} is copied")
        assert set(all_of(room).values()) == {1}
    for watch in farm.watches.values():
        watch.end(signal.SIGTERM)
    sites = {one.labels["room"] for one in farm.victoria.series(f'{{site="{SITE}"}}')}
    assert sites == set(farm.rooms)
