"""The nouns of the road: frozen, typed, units in their names, SI inside.

Missing numbers are None, never NaN; times are seconds since 1970 in UTC; a frame is
half-open and stamped at its end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.terms import (
    AlarmKind,
    Flag,
    Quantity,
    Reason,
    Refusal,
    Transition,
    Urgency,
    Verdict,
)

__all__ = [
    "AlarmCommand",
    "AlarmEvent",
    "AlarmKind",
    "Bag",
    "BookEntry",
    "Condition",
    "Decoded",
    "Delivery",
    "Estimate",
    "Evidence",
    "Facts",
    "Flag",
    "Flagged",
    "Frame",
    "HandReading",
    "Mean",
    "Message",
    "Probe",
    "Quantity",
    "Reading",
    "Reason",
    "Record",
    "Refusal",
    "Refused",
    "Transition",
    "Urgency",
    "Verdict",
]


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
        """Whether it may enter the model: any flag keeps it out."""
        return not self.flags


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
    """Something a person did to or saw of a bag: moved, shaken, pulled, re-taped, outcome…

    `facts` are its parts by name (smell, cause, place…); `detail` says them in words.
    """

    at_s: float
    bag: str
    event: str
    detail: str = ""
    facts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Record:
    """Something in the book that is no bag and no probe: a strain, a spawn lot, a load…"""

    kind: str
    name: str
    fields: Mapping[str, str] = field(default_factory=dict)


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
    bag's found strength (1 = like its cohort) and lead in hours; `walk_s` about when the bag was
    last read, if that was by hand.
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
    walk_s: float | None = None


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
    air_before_c: float | None = None
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
    """One transition of one alarm, with everything its words need.

    `announced` is False while nobody has been told of it: held back from its start.
    `first_in` marks the first of those that one cause may explain.
    """

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
    announced: bool = True


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
    """What a person reads; the id is chosen once and used for every attempt.

    `attachment` is the path of a picture that goes with it; empty for none.
    """

    message_id: str
    recipient: str
    title: str
    body: str
    urgency: Urgency
    created_s: float
    expires_s: float | None = None
    attachment: str = ""


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message on its way: how often tried, when next, and how it stands."""

    message: Message
    attempts: int
    next_try_s: float
    state: str
    last_answer: str = ""
