"""How a room stands, as one retained message tells it to the other rooms of a farm.

`RoomSummary` is the noun that rooms publish and a farm's view gathers. Its JSON has the names
of its fields, but moments: `at`, `since` are UTC in ISO 8601. `version` rises with every change
of the form, and an unknown one is refused, never guessed at.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from functools import cache
from typing import Annotated, Any, ClassVar, TypeVar

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    TypeAdapter,
    ValidationError,
    WithJsonSchema,
)

from monitor.terms import AlarmKind, Reason, Urgency

#: The form of all messages of a room; a reader refuses any other.
VERSION = 1
#: The JSON Schema that ours are written in.
DIALECT = "https://json-schema.org/draft/2020-12/schema"
#: What a reader takes; rooms send less (`MOST_ALARMS`, `MOST_LOTS`).
LONGEST_BYTES = 1 << 20
_MOST = 4_000
#: So many go into a summary: 64 KiB is what our broker snippet lets through.
MOST_ALARMS = MOST_LOTS = 80
_T = TypeVar("_T")

STRICT = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class SummaryFault(StrEnum):
    """Why bytes are no message of a room."""

    TOO_LONG = "too long"
    NOT_JSON = "not JSON"
    UNKNOWN_VERSION = "unknown version"
    DOES_NOT_FIT = "does not fit"


class SummaryRefusedError(ValueError):
    """Bytes that are no message of a room: the named reason, and where in it."""

    def __init__(self, reason: SummaryFault, detail: str) -> None:
        self.reason = reason
        self.detail = detail
        super().__init__(f"{reason}: {detail}")


def utc_text(at_s: float) -> str:
    """A moment [s since 1970] as UTC in ISO 8601, to the millisecond."""
    text = datetime.fromtimestamp(at_s, UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")


def _moment_s(text: object) -> float:
    """The moment of an ISO 8601 text that says its zone [s since 1970]."""
    if not isinstance(text, str):
        raise ValueError("a moment is a text such as 2026-03-09T10:05:00Z")
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError("a moment says its zone, as in 2026-03-09T10:05:00Z")
    return moment.timestamp()


_Moment = Annotated[
    float,
    BeforeValidator(_moment_s),
    PlainSerializer(utc_text, return_type=str),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
At = Annotated[_Moment, Field(alias="at", description="When, in UTC.")]
Since = Annotated[_Moment, Field(alias="since", description="Since when, in UTC.")]
Version = Annotated[int, Field(ge=VERSION, le=VERSION, description="Form of this message.")]
LONGEST_NAME = 500
Name = Annotated[str, Field(max_length=LONGEST_NAME)]
_Count = Annotated[int, Field(ge=0)]
_Page = Annotated[str, Field(max_length=300, pattern=r"^(https?://[^\s\"<>\\]+)?$")]


@dataclass(frozen=True, slots=True)
class RoomAir:
    """The room's air in the frame, over its probes, and the band of the settings [°C].

    None where nothing was heard, or no band is set.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    mean_c: float | None
    low_c: float | None
    high_c: float | None
    band_low_c: float | None
    band_high_c: float | None
    humidity: float | None = None


@dataclass(frozen=True, slots=True)
class BagCounts:
    """Bags in the room by the gravest alarm that stands of each; `unheard` had no reading.

    `total` is `now` + `today` + `later` + `calm`.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    total: _Count
    now: _Count
    today: _Count
    later: _Count
    calm: _Count
    unheard: _Count


@dataclass(frozen=True, slots=True)
class AlarmSummary:
    """One standing alarm; `answered` once somebody acknowledged or shelved it."""

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    id: Name
    kind: AlarmKind
    subject: Name
    urgency: Urgency
    reason: Reason
    since_s: Since
    answered: bool


@dataclass(frozen=True, slots=True)
class LotSummary:
    """One spawn lot in one strain and session, as far as it stands in this room.

    `session` is its name, or the moment of inoculation (UTC) where it has none. `called_now`
    and `called_today` count bags with such an alarm of their own, `called_warm` and
    `called_cold` those and the `later` ones by what they are called. `mean_excess_k` is the
    mean warmth beyond the cohort over `judged` bags [K], None where none is. `lot_alarm` tells
    that a `lot apart` stands.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    spawn_lot: Name
    strain: Name
    session: Name
    bags: _Count
    judged: _Count
    called_now: _Count
    called_today: _Count
    called_warm: _Count
    called_cold: _Count
    mean_excess_k: float | None
    lot_alarm: bool


@dataclass(frozen=True, slots=True)
class MonitorHealth:
    """How the room's own monitor gets on.

    `silent_sources` their names; `undelivered` messages to people that still wait; `lag_s` from
    the frame's end to this summary [s]; `problem` of its store, empty where there is none.
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    silent_sources: Annotated[tuple[Name, ...], Field(max_length=_MOST)]
    undelivered: _Count
    lag_s: float
    problem: Name = ""


@dataclass(frozen=True, slots=True)
class RoomSummary:
    """A room at the end of a frame: what a farm's page needs to know of it.

    The gravest alarms and the largest lots, as many as fit into what brokers take; how many are
    `left_out` is said. Every alarm has a message of its own besides. `page` is the address of
    the room's own page (http or https), empty where it has none for others; `every_s` how often
    a frame is closed, so that a reader knows when the next summary is due [s].
    """

    __pydantic_config__: ClassVar[ConfigDict] = STRICT

    version: Version
    site: Name
    room: Name
    instance: Name
    at_s: At
    air: RoomAir
    bags: BagCounts
    alarms: Annotated[tuple[AlarmSummary, ...], Field(max_length=_MOST)]
    alarms_left_out: _Count
    lots: Annotated[tuple[LotSummary, ...], Field(max_length=_MOST)]
    lots_left_out: _Count
    monitor: MonitorHealth
    page: _Page = ""
    every_s: Annotated[float, Field(gt=0, le=86_400)] = 600.0

    def to_json(self) -> bytes:
        """The message, UTF-8; the same summary gives the same bytes."""
        return to_json(RoomSummary, self)

    @classmethod
    def from_json(cls, payload: bytes) -> RoomSummary:
        """The summary of a message. Raises SummaryRefusedError."""
        return from_json(RoomSummary, payload)


@cache
def _built(model: Any) -> TypeAdapter[Any]:
    return TypeAdapter(model)


def adapter(model: Any) -> TypeAdapter[Any]:
    """What checks, writes and describes a message; built at its first use."""
    return _built(model)


def to_json(model: type[Any], message: object) -> bytes:
    """A message of a room as JSON."""
    return adapter(model).dump_json(message, by_alias=True)


def from_json(model: type[_T], payload: bytes) -> _T:
    """A message of a room from JSON. Raises SummaryRefusedError."""
    if len(payload) > LONGEST_BYTES:
        raise SummaryRefusedError(SummaryFault.TOO_LONG, f"over {LONGEST_BYTES} bytes")
    try:
        found: _T = adapter(model).validate_json(payload)
    except ValidationError as error:
        raise _refused(error) from None
    return found


def _refused(error: ValidationError) -> SummaryRefusedError:
    faults = error.errors(include_url=False, include_context=False, include_input=True)
    first = faults[0]
    if first["type"] == "json_invalid":
        return SummaryRefusedError(SummaryFault.NOT_JSON, first["msg"])
    for fault in faults:
        if fault["loc"] == ("version",):
            missing = fault["type"].startswith("missing")
            found = "no version" if missing else f"version {str(fault['input'])[:40]}"
            told = f"{found}; {VERSION} is known"
            return SummaryRefusedError(SummaryFault.UNKNOWN_VERSION, told)
    where = ".".join(str(step)[:40] for step in first["loc"]) or "the message"
    return SummaryRefusedError(SummaryFault.DOES_NOT_FIT, f"{where}: {first['msg']}")


def message_schema(model: type[Any], title: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a message."""
    schema = adapter(model).json_schema(by_alias=True, mode="validation")
    return {"$schema": DIALECT, **schema, "title": title}
