"""A room of air probes without a bag, for whoever only wants readings to come in."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from monitor.errors import StoreError
from monitor.store import open_reader


def write_air_room(folder: Path, probes: Iterable[str], settings: str) -> None:
    """Its book, and `settings` as its monitor.yaml."""
    (folder / "room").mkdir()
    (folder / "room" / "bags.csv").write_text(
        "bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe\n", encoding="utf-8"
    )
    rows = "".join(f"{probe},air,R1,1\n" for probe in probes)
    (folder / "room" / "probes.csv").write_text(f"probe,place,rack,shelf\n{rows}", encoding="utf-8")
    (folder / "monitor.yaml").write_text(settings, encoding="utf-8")


def readings_in(folder: Path) -> int:
    """How many readings its store holds, 0 while there is none yet."""
    try:
        with open_reader(folder / "bagwatt.db") as store:
            return store.last_reading_id()
    except StoreError:
        return 0
