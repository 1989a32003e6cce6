"""The night that goes wrong, once for all tests: as data, and as a store the road ran over."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.assemble import build_road, plan_of
from monitor.review.night_nouns import NightData
from monitor.road import Road
from monitor.runner import Close, with_closes
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.sources.folder import iter_readings, read_folder
from monitor.store import Arrival, Store
from monitor.values import Decoded, Reading
from tests.night.room import NIGHT_S, write_config, write_room
from tests.night.samples import night_data

FRAME_S = 600.0


@pytest.fixture(scope="session")
def data() -> NightData:
    """The night with its readings from the invented room, judged by hand."""
    return night_data()


@pytest.fixture(scope="session")
def config(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A settings folder with a store in it that the real road wrote for three days."""
    path = write_config(tmp_path_factory.mktemp("night"))
    write_room(path / "room")
    settings = load_settings(path, {}, outside=False)
    fill_store(settings, path / "room")
    return path


def fill_store(settings: Settings, room: Path) -> None:
    """Readings stored and put on the road frame by frame, as `watch` does, committed once."""
    folder = read_folder(room)
    plan = plan_of(folder.bags, folder.probes)
    road = build_road(settings, plan)
    with Store.open(settings.store.path, NIGHT_S) as store, store.transaction():
        store.add_book(NIGHT_S, folder.bags.values(), folder.probes.values())
        batch: list[Reading] = []
        for item in with_closes(iter_readings(folder), FRAME_S):
            if isinstance(item, Reading):
                batch.append(item)
            elif isinstance(item, Close):
                close(store, road, batch, item)
                batch = []


def close(store: Store, road: Road, batch: list[Reading], item: Close) -> None:
    """One frame: its readings with their flags, and what came of it."""
    stored = store.add_batch([arrival(one) for one in batch])
    flags = [
        (number, flag)
        for (number,), one in zip(stored, batch, strict=True)
        for flag in road.feed(one).flags
    ]
    store.add_flags(flags)
    outcome = road.close(item.end_s)
    store.close_frame(
        item.end_s,
        item.end_s + 20.0,
        store.last_reading_id(),
        0,
        events=outcome.events,
        estimates=outcome.verdicts.values() if item.end_s % 3600.0 == 0 else (),
    )


def arrival(reading: Reading) -> Arrival:
    return Arrival(
        source="folder",
        dedup="",
        received_s=reading.received_s,
        monotonic_s=reading.received_s,
        boot_id="boot",
        synced=True,
        decoded=Decoded((reading,)),
    )
