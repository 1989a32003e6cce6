"""Puts records of an invented season into a real store, and a settings folder beside it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from monitor.review.records import LOST, BagRecord
from monitor.store import Store
from monitor.values import Bag, BookEntry

MONITOR = """\
room: {name: Quarry Lane spawn run, timezone: Europe/London, band_low: 20 C, band_high: 25 C,
       folder: room%s}
channels: none
store: {path: bagwatt.db}
book: {bag_price: 18, currency: "£"}
"""
STRAINS = """\
groups:
  oyster: {run: {shortest: 12 d, longest: 21 d}, heat: {peak: 1.9 K, peak_at: 5 d, rise: 36 h}}
strains:
  GO-12: {group: oyster}
  AM-3: {group: oyster}
  HX-5: {parents: [GO-12, AM-3]}
  SH-7: {run: {shortest: 35 d, longest: 70 d}}
  PI-2: {run: {shortest: 20 d, longest: 28 d}}
"""


def settings_folder(path: Path, room: str = "") -> Path:
    """`monitor.yaml` and `strains.yaml`; `room` is more of the room's block."""
    (path / "room").mkdir(parents=True, exist_ok=True)
    (path / "monitor.yaml").write_text(MONITOR % room, encoding="utf-8")
    (path / "strains.yaml").write_text(STRAINS, encoding="utf-8")
    return path


def bag_of(record: BagRecord) -> Bag:
    """The row of the book that a record came from."""
    origins = {
        "spawn_parents": ";".join(record.spawn_parents),
        "load_position": record.load_position,
        "supplier": record.supplier,
    }
    return Bag(
        bag=record.bag,
        batch=record.batch,
        strain=record.strain,
        spawn_lot=record.spawn_lot,
        inoculated_s=record.inoculated_s,
        mass_kg=record.mass_kg,
        rack=record.rack,
        shelf=record.shelf,
        slot=record.slot,
        session=record.session,
        sequence=record.sequence,
        load=record.load,
        recipe=record.recipe,
        person=record.person,
        extra=origins,
    )


def store_season(folder: Path, records: Sequence[BagRecord], now_s: float) -> None:
    """A store whose book holds the season, and whose last frame closed at `now_s`."""
    with Store.open(folder / "bagwatt.db", now_s) as store:
        store.add_book(now_s, [bag_of(one) for one in records], [])
        for one in records:
            if one.outcome_s is not None:
                pulled = one.outcome in LOST
                words = one.outcome.removeprefix("contaminated ")
                store.add_entry(
                    BookEntry(
                        one.outcome_s,
                        one.bag,
                        "pulled" if pulled else "full run",
                        f"green mould, {words}" if pulled else "",
                    )
                )
        store.close_frame(now_s - now_s % 600, now_s, 0, 0)
