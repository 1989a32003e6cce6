"""What goes into the store and comes out of it, beside the nouns of `values`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from monitor.values import (
    AlarmCommand,
    AlarmEvent,
    Bag,
    BookEntry,
    Condition,
    Decoded,
    Delivery,
    Probe,
    Quantity,
    Reading,
    Record,
)


@dataclass(frozen=True, slots=True)
class Arrival:
    """One message or line with what its source made of it and when it came.

    `dedup` names this very delivery, so that one sent twice is stored once; empty where the
    source can't send twice (serial, 1-wire). `session` is the broker's session it was counted
    in, remembered so that a repeat is known across a restart.
    """

    source: str
    dedup: str
    received_s: float
    monotonic_s: float
    boot_id: str
    synced: bool
    decoded: Decoded
    session: str = ""


class LogKind(StrEnum):
    """What a row of the log is."""

    READING = "reading"
    COMMAND = "command"
    ENTRY = "entry"
    BOOK = "book"
    RESTAMP = "restamp"
    FRAME = "frame"
    RECORD = "record"
    STRUCK = "struck"


@dataclass(frozen=True, slots=True)
class BookChange:
    """A new version of a bag or a probe in the book; None under `now` when it left the book."""

    name: str
    now: Bag | Probe | None
    of_probe: bool


@dataclass(frozen=True, slots=True)
class Act:
    """Who wrote what into the book, and when; `undoes` is the act it takes back."""

    id: int
    at_s: float
    by: str
    what: str
    undoes: int | None = None


@dataclass(frozen=True, slots=True)
class Version:
    """A bag, probe or record as it was from `at_s` on; None under `now` when it left the book.

    `act` is None for what the room's folder said.
    """

    id: int
    at_s: float
    name: str
    now: Bag | Probe | Record | None
    act: Act | None = None


@dataclass(frozen=True, slots=True)
class Entered:
    """An entry of the book with who wrote it; `struck` once it was taken back."""

    id: int
    entry: BookEntry
    act: Act | None = None
    struck: bool = False


@dataclass(frozen=True, slots=True)
class Struck:
    """An entry was taken back: it is still there, and no longer counts."""

    entry_id: int


@dataclass(frozen=True, slots=True)
class WalkStep:
    """What was done at one bag of a walk; of several the last one stands."""

    at_s: float
    bag: str
    state: str
    typed: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Restamp:
    """The clock of a boot stepped by `step_s`; readings up to `last_reading_id` were re-stamped.

    The log gives those readings as first stamped, then this: what the road saw, when it saw it.
    """

    boot_id: str
    step_s: float
    last_reading_id: int


@dataclass(frozen=True, slots=True)
class FrameClose:
    """A frame was closed after these readings and commands, and no others.

    `house` is what the monitor said of itself then: no reading can tell it again.
    """

    end_s: float
    closed_s: float
    last_reading_id: int
    last_command_id: int
    house: tuple[Condition, ...] = ()


@dataclass(frozen=True, slots=True)
class Aside:
    """What a clock that was ahead had closed, put by when it was set back.

    `since_s` is when the last sound frame was closed, None for none; `closes` came after it.
    """

    at_s: float
    ahead_s: float
    since_s: float | None
    frames: int
    closes: int


class LogItem(NamedTuple):
    """One row of the log: a reading, a command, an entry, a change of the book, a close."""

    kind: LogKind
    id: int
    body: Reading | AlarmCommand | BookEntry | BookChange | Restamp | FrameClose | Record | Struck


@dataclass(frozen=True, slots=True)
class StandingAlarm:
    """An alarm that has not returned to normal: its newest event and what people did to it."""

    raised: AlarmEvent
    latest: AlarmEvent
    acknowledged_by: str = ""
    acknowledged_s: float | None = None
    shelved: bool = False
    suppressed: bool = False
    out_of_service: bool = False

    @property
    def state(self) -> str:
        """Its state in the terms of IEC 62682; what a person or a rule set goes first."""
        if self.out_of_service:
            return "out of service"
        if self.suppressed:
            return "suppressed by design"
        if self.shelved:
            return "shelved"
        if self.acknowledged_s is None:
            return "unacknowledged"
        by = self.acknowledged_by
        return f"acknowledged by {by}" if by else "acknowledged"


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """The road's state at a frame's end, as text of the road's own making."""

    end_s: float
    text: str


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """A delivery with what the sender needs beside: when first due, its bundle, who took it."""

    delivery: Delivery
    due_s: float
    bundle: str
    taken: frozenset[str]


@dataclass(frozen=True, slots=True)
class Quarantined:
    """Bytes that did not become a reading."""

    id: int
    received_s: float
    source: str
    reason: str
    detail: str
    raw: bytes


@dataclass(frozen=True, slots=True)
class Heard:
    """What a probe said in a stretch of the log [°C, offset not added].

    `mean_c` is of readings beyond doubt; `low_c` and `high_c` also of those that only came late
    or without a time of their own.
    """

    probe: str
    mean_c: float | None
    low_c: float
    high_c: float


@dataclass(frozen=True, slots=True)
class Rollup:
    """What is kept of a probe's readings in the ten minutes that end at `at_s` [°C or %RH].

    `low`, `mean` and `high` are None where all of them were `doubted`: flagged, and left out.
    """

    at_s: float
    probe: str
    bag: str
    quantity: Quantity
    low: float | None
    mean: float | None
    high: float | None
    count: int
    doubted: int


@dataclass(frozen=True, slots=True)
class Note:
    """A line of the monitor's own log: restarts, gaps, what the house did."""

    id: int
    at_s: float
    kind: str
    detail: str


@dataclass(frozen=True, slots=True)
class Counts:
    """How much the store holds, for `bagwatt check`."""

    bytes: int
    readings: int
    first_received_s: float | None
    last_received_s: float | None
    frames: int
    events: int
    standing: int
    refused: Mapping[tuple[str, str], int] = field(default_factory=dict)
    flags: Mapping[str, int] = field(default_factory=dict)
    outbox: Mapping[str, int] = field(default_factory=dict)
    rollups: int = 0
