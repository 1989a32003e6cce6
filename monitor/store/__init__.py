"""One SQLite file holds all that bagwatt knows: `Store` writes it, `Reader` asks it."""

from monitor.store.database import set_aside
from monitor.store.reader import Reader
from monitor.store.records import (
    Arrival,
    BookChange,
    Checkpoint,
    Counts,
    FrameClose,
    LogItem,
    LogKind,
    Note,
    OutboxRow,
    Quarantined,
    Restamp,
    StandingAlarm,
)
from monitor.store.store import Store

open_reader = Reader.open_reader

__all__ = [
    "Arrival",
    "BookChange",
    "Checkpoint",
    "Counts",
    "FrameClose",
    "LogItem",
    "LogKind",
    "Note",
    "OutboxRow",
    "Quarantined",
    "Reader",
    "Restamp",
    "StandingAlarm",
    "Store",
    "open_reader",
    "set_aside",
]
