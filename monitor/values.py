"""The nouns of the road: frozen, typed, units in their names, SI inside.

Missing numbers are None, never NaN; times are seconds since 1970 in UTC; a frame is
half-open and stamped at its end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Quantity(StrEnum):
    """What a probe measures."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"


class Flag(StrEnum):
    """A doubt about one reading, kept beside its raw value and never in its place."""

    RANGE = "out of range"
    POWER_ON = "power-on value"
    UNIT_SLIP = "unit slip"
    RATE = "faster than a bag"
    STUCK = "stuck"
    FELL_OFF = "fell off"
    DUPLICATE = "duplicate"
    LATE = "late"
    FUTURE = "future time"
    TIME_UNKNOWN = "time unknown"
    CLOCK_UNSET = "clock not synced"
    RETAINED = "retained"
    UNKNOWN_PROBE = "unknown probe"
    UNKNOWN_BAG = "unknown bag"


#: Flags that keep a reading out of the model. LATE readings are stored and flagged but their
#: frame is closed; CLOCK_UNSET ones wait to be re-stamped.
BARRING: frozenset[Flag] = frozenset(Flag)


class Refusal(StrEnum):
    """Why bytes from a source did not become a reading; the bytes go to quarantine."""

    TOO_LONG = "too long"
    NOT_TEXT = "not text"
    NOT_A_NUMBER = "not a number"
    NOT_FINITE = "not finite"
    BOOLEAN = "true or false"
    NULL = "no value"
    NOT_JSON = "not JSON"
    DUPLICATE_KEY = "duplicate key"
    TOO_DEEP = "too deep"
    MISSING_FIELD = "missing field"
    BAD_TIME = "bad time"
    UNKNOWN_UNIT = "unknown unit"
    NO_MATCH = "line does not match"
    BAD_CHECKSUM = "bad checksum"
    NOT_SENML = "not SenML"
    POWER_ON = "power-on value"
    NO_DEVICE = "no device"
    EMPTY = "empty"
    UNMAPPED_TOPIC = "unmapped topic"


class AlarmKind(StrEnum):
    """The six things bagwatt raises an alarm about, and a whole lot apart from its strain."""

    HOT_BAG = "hot bag"
    STALLED_BAG = "stalled bag"
    OVERHEATING = "overheating"
    LOT_APART = "lot apart"
    ROOM = "room"
    PROBE = "probe"
    HOUSE = "house"


class Urgency(StrEnum):
    """When a grower should act: go in now, look on the next walk, read it in the morning."""

    NOW = "now"
    TODAY = "today"
    LATER = "later"

    @property
    def rank(self) -> int:
        """0 for `later`, 2 for `now`."""
        return ("later", "today", "now").index(self.value)


class Transition(StrEnum):
    """What happened to an alarm (terms of IEC 62682 and ISA-18.2)."""

    RAISED = "raised"
    URGENCY_CHANGED = "urgency changed"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed by design"
    UNSUPPRESSED = "no longer suppressed"
    OUT_OF_SERVICE = "out of service"
    IN_SERVICE = "in service"


class Reason(StrEnum):
    """The single named reason of a verdict or an alarm: stored, printed, tested, documented."""

    # a bag beside its cohort
    ADDED_HEAT = "added heat"
    COLDER = "colder than its cohort"
    NEVER_WARMED = "never warmed"
    LIKE_ITS_COHORT = "like its cohort"
    LEARNING = "still learning this bag"
    FEW_PEERS = "under three live peers"
    EARLIER_RUNS = "judged against earlier runs"
    NO_SIGNAL = "no usable reading"
    HANDLED = "handled a short while ago"
    LOOK_AGAIN = "look again"
    # a core against its limits
    CORE_LIMIT = "core over its limit"
    CORE_FORECAST = "core will pass its limit"
    # a lot, a cohort
    LOT_HOT = "lot warmer than earlier runs"
    LOT_SLOW = "lot colder than earlier runs"
    COHORT_IS_TWO = "this cohort looks like two"
    # the room
    ROOM_HIGH = "room above its band"
    ROOM_LOW = "room below its band"
    HEATER_STUCK = "heater stuck on"
    COOLER_STUCK = "cooler stuck on"
    NO_COOLING = "cooling lost"
    NO_HEATING = "heating lost"
    DOOR = "door open"
    DRIFT = "room drifting"
    POWER_CUT = "power cut"
    # a probe
    PROBE_SILENT = "silent"
    PROBE_STUCK = "stuck"
    PROBE_JUMPED = "jumped"
    PROBE_FELL_OFF = "fell off"
    PROBE_UNIT_SLIP = "unit slip"
    PROBE_IMPOSSIBLE = "impossible values"
    # the monitor itself
    BROKER_LOST = "broker lost"
    BROKER_REFUSED = "broker refused the login"
    PORT_LOST = "serial port lost"
    SOURCE_SILENT = "source silent"
    STORE_FAILING = "store failing"
    CLOCK_UNSET = "clock not synced"
    CHANNEL_FAILING = "channel failing"
    WAS_DARK = "was dark"


@dataclass(frozen=True, slots=True)
class Reading:
    """One value from a probe or a hand, in degrees Celsius or per cent relative humidity.

    `probe` names the probe; a hand reading has the `bag` it was taken of and an empty probe.
    `measured_s` is None where the time is unknown. `raw` and `raw_unit` are as sent.
    `marks` are what the source itself knows against it (retained, clock not set).
    """

    probe: str
    quantity: Quantity
    value: float
    measured_s: float | None
    received_s: float
    source: str = ""
    bag: str = ""
    raw: float | None = None
    raw_unit: str = ""
    marks: tuple[Flag, ...] = ()

    @property
    def by_hand(self) -> bool:
        """Whether a person took it with an infrared thermometer."""
        return bool(self.bag)


@dataclass(frozen=True, slots=True)
class Refused:
    """Bytes that did not become a reading, with the reason; at most 4 KiB of them are kept."""

    source: str
    reason: Refusal
    detail: str
    raw: bytes
    received_s: float


@dataclass(frozen=True, slots=True)
class Decoded:
    """What a source made of one message or line."""

    readings: tuple[Reading, ...] = ()
    refused: tuple[Refused, ...] = ()


@dataclass(frozen=True, slots=True)
class Flagged:
    """A reading with its flags; `value` is corrected by the probe's offset, raw stays raw."""

    reading: Reading
    value: float
    flags: tuple[Flag, ...] = ()

    @property
    def usable(self) -> bool:
        """Whether it may enter the model."""
        return not any(flag in BARRING for flag in self.flags)


@dataclass(frozen=True, slots=True)
class Probe:
    """A probe and where it hangs: `bag` is empty for an air probe. Shelf 1 is the lowest."""

    probe: str
    bag: str = ""
    rack: str = ""
    shelf: int | None = None
    offset_k: float = 0.0
    calibrated: str = ""

    @property
    def in_air(self) -> bool:
        return not self.bag


@dataclass(frozen=True, slots=True)
class Bag:
    """One bag in the book. `extra` keeps the columns bagwatt has no name for."""

    bag: str
    batch: str
    strain: str
    spawn_lot: str
    inoculated_s: float
    mass_kg: float
    rack: str
    shelf: int | None
    slot: int | None
    probe: str = ""
    session: str = ""
    sequence: int | None = None
    load: str = ""
    recipe: str = ""
    bag_kind: str = ""
    person: str = ""
    extra: Mapping[str, str] = field(default_factory=dict)

    @property
    def cohort(self) -> str:
        """Bags compared together: strain, recipe, bag kind, spawn lot, inoculation session."""
        session = self.session or f"{self.inoculated_s:.0f}"
        parts = (self.strain, self.recipe, self.bag_kind, self.spawn_lot, session)
        return "/".join(part or "-" for part in parts)


@dataclass(frozen=True, slots=True)
class BookEntry:
    """Something a person did to or saw of a bag: moved, shaken, pulled, re-taped, outcome…"""

    at_s: float
    bag: str
    event: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Mean:
    """The usable readings of one probe or bag in one frame."""

    mean: float
    count: int
    last_s: float


@dataclass(frozen=True, slots=True)
class HandReading:
    """An infrared reading of a bag in a frame."""

    bag: str
    surface_c: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Frame:
    """All usable readings of [end_s - length_s, end_s); probes without any are absent."""

    end_s: float
    length_s: float
    air_c: Mapping[str, Mean]
    surface_c: Mapping[str, Mean]
    humidity: Mapping[str, Mean]
    hand: tuple[HandReading, ...] = ()


@dataclass(frozen=True, slots=True)
class Estimate:
    """What the thermal model makes of one bag at a frame's end; intervals hold 80 %."""

    bag: str
    at_s: float
    surface_c: float | None
    local_air_c: float | None
    excess_k: float | None
    heat_w_per_kg: float | None = None
    heat_low_w_per_kg: float | None = None
    heat_high_w_per_kg: float | None = None
    core_c: float | None = None
    core_low_c: float | None = None
    core_high_c: float | None = None
    rate_k_per_h: float | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """How a bag stands beside its cohort without itself.

    `hot` and `stalled` are log odds (natural) that added or lost heat is real;
    `hot_needed` and `stalled_needed` what the false-call budget asks for.
    `excess_k` is surface warmth beyond what the cohort explains; `scale` and `shift_h` the
    bag's found strength (1 = like its cohort) and lead in hours.
    """

    bag: str
    cohort: str
    at_s: float
    hot: float
    stalled: float
    hot_needed: float
    stalled_needed: float
    peers: int
    excess_k: float | None
    reason: Reason
    added_w: float | None = None
    added_w_per_kg: float | None = None
    scale: float = 1.0
    shift_h: float = 0.0
    onset_s: float | None = None
    clears_at: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """The numbers and names an alarm's words are made from; None where they don't apply."""

    bag: str = ""
    probe: str = ""
    cohort: str = ""
    strain: str = ""
    rack: str = ""
    shelf: int | None = None
    slot: int | None = None
    surface_c: float | None = None
    air_c: float | None = None
    excess_k: float | None = None
    added_w_per_kg: float | None = None
    rate_k_per_h: float | None = None
    evidence: float | None = None
    peers: int | None = None
    since_s: float | None = None
    core_c: float | None = None
    limit_c: float | None = None
    limit_duration_s: float | None = None
    reached_in_s: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    silent_for_s: float | None = None
    affected: int | None = None
    next_slot: tuple[str, ...] = ()
    next_inoculated: tuple[str, ...] = ()
    same_lot: tuple[str, ...] = ()
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Condition:
    """Something that holds at a frame's end and may become an alarm.

    `subject` makes it unique within its kind: a bag, a probe, a cohort, `room`, a part of
    the house.
    """

    kind: AlarmKind
    subject: str
    urgency: Urgency
    reason: Reason
    facts: Facts


@dataclass(frozen=True, slots=True)
class AlarmEvent:
    """One transition of one alarm, with everything its words need."""

    event_id: str
    alarm_id: str
    at_s: float
    kind: AlarmKind
    subject: str
    transition: Transition
    urgency: Urgency
    reason: Reason
    facts: Facts
    first_in: bool = False
    by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class AlarmCommand:
    """What a person asks of an alarm: acknowledge, shelve, unshelve, out of service, in service."""

    at_s: float
    verb: str
    alarm_id: str
    by: str = ""
    note: str = ""
    until_s: float | None = None


@dataclass(frozen=True, slots=True)
class Message:
    """What a person reads; the id is chosen once and used for every attempt."""

    message_id: str
    recipient: str
    title: str
    body: str
    urgency: Urgency
    created_s: float
    expires_s: float | None = None


class Verdict(StrEnum):
    """A channel's answer to one attempt."""

    DELIVERED = "delivered"
    TRY_AGAIN = "try again"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message on its way: how often tried, when next, and how it stands."""

    message: Message
    attempts: int
    next_try_s: float
    state: str
    last_answer: str = ""
