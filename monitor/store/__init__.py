"""One SQLite file holds all that bagwatt knows: `Store` writes it, `Reader` asks it."""

from monitor.store.book import Pen
from monitor.store.database import refused, set_aside
from monitor.store.reader import Reader
from monitor.store.records import (
    Act,
    Arrival,
    Aside,
    BookChange,
    Checkpoint,
    Counts,
    Entered,
    FrameClose,
    Heard,
    LogItem,
    LogKind,
    Note,
    OutboxRow,
    Quarantined,
    Restamp,
    Rollup,
    StandingAlarm,
    Struck,
    Version,
    WalkStep,
)
from monitor.store.spare_place import spare_path
from monitor.store.store import Store

open_reader = Reader.open_reader

__all__ = [
    "Act",
    "Arrival",
    "Aside",
    "BookChange",
    "Checkpoint",
    "Counts",
    "Entered",
    "FrameClose",
    "Heard",
    "LogItem",
    "LogKind",
    "Note",
    "OutboxRow",
    "Pen",
    "Quarantined",
    "Reader",
    "Restamp",
    "Rollup",
    "StandingAlarm",
    "Store",
    "Struck",
    "Version",
    "WalkStep",
    "open_reader",
    "refused",
    "set_aside",
    "spare_path",
]
