"""What is kept of one alarm, and the parameters of its life (terms of IEC 62682, ISA-18.2)."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from enum import StrEnum
from typing import Any

from monitor.terms import HOUR_S
from monitor.values import (
    AlarmEvent,
    AlarmKind,
    Condition,
    Facts,
    Reason,
    Transition,
    Urgency,
)

#: What a person may ask of an alarm, and what it means.
VERBS: Mapping[str, str] = {
    "acknowledge": "I know of it",
    "shelve": "be silent about it for a while",
    "unshelve": "no longer be silent about it",
    "out of service": "its bag or probe is taken out of service",
    "in service": "its bag or probe is back in service",
}
NEED_A_REASON = ("shelve", "out of service")
MOST_SHELVED_S = 7 * 24 * HOUR_S


def _on_delays() -> Mapping[AlarmKind, float]:
    return {AlarmKind.OVERHEATING: 600.0, AlarmKind.HOUSE: 60.0}


def _at_once() -> frozenset[Reason]:
    return frozenset({Reason.STORE_FAILING, Reason.SOURCE_SILENT, Reason.CLOCK_SET_BACK})


def _off_delays() -> Mapping[AlarmKind, float]:
    return {
        AlarmKind.HOT_BAG: 2 * HOUR_S,
        AlarmKind.STALLED_BAG: 2 * HOUR_S,
        AlarmKind.OVERHEATING: 2 * HOUR_S,
        AlarmKind.LOT_APART: 6 * HOUR_S,
        AlarmKind.ROOM: 1800.0,
        AlarmKind.PROBE: HOUR_S,
        AlarmKind.HOUSE: 300.0,
    }


@dataclass(frozen=True, slots=True)
class AlarmParams:
    """How alarms come and go. Times [s].

    `on_delay_s` a condition must hold before it is raised: kinds left out are raised at once,
    because what finds them already waits (`hold_s` of a strain, `band_hold_s` of the room), and
    so are the reasons `at_once`: a store that fails may soon take the means to tell of it along.
    `off_delay_s` it must be gone before the alarm returns to normal. Control-room seconds do
    not fit a body with a lag of hours; the values are ours. Three raises or returns within
    `chatter_s` (15 h, three lags of a large bag) latch an alarm until it has been quiet for
    that long. A flood is `flood_share` of a cohort and at least `flood_least` of its bags, or
    `flood_room` bags of the room, within `flood_s`. A room event explains its bags for
    `room_explains_s` at most, and for `room_after_s` after it ended.
    """

    on_delay_s: Mapping[AlarmKind, float] = field(default_factory=_on_delays)
    at_once: frozenset[Reason] = field(default_factory=_at_once)
    off_delay_s: Mapping[AlarmKind, float] = field(default_factory=_off_delays)
    chatter_count: int = 3
    chatter_s: float = 15 * HOUR_S
    flood_s: float = 2 * HOUR_S
    flood_share: float = 0.3
    flood_least: int = 5
    flood_room: int = 10
    room_explains_s: float = 12 * HOUR_S
    room_after_s: float = 3 * HOUR_S
    most_shelved_s: float = MOST_SHELVED_S
    unseen_return_s: float = 24 * HOUR_S


class AlarmState(StrEnum):
    """Where an alarm is in its life."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned, unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


@dataclass(slots=True)
class Entry:
    """One alarm of one kind and subject; plain data once its enums are text.

    `told_by_lot` while the alarm of its lot is all that people were told of it.
    """

    kind: AlarmKind
    subject: str
    urgency: Urgency
    reason: Reason
    facts: Facts
    began_s: float
    active: bool = True
    alarm_id: str = ""
    raised_s: float | None = None
    gone_s: float | None = None
    milder_s: float | None = None
    returned_s: float | None = None
    acknowledged: bool = False
    shelved_until_s: float | None = None
    suppressed: bool = False
    out_of_service: bool = False
    first_in: bool = False
    latched: bool = False
    moves: list[float] = field(default_factory=list)
    told_by_lot: bool = False

    @property
    def announced(self) -> bool:
        """Whether it was raised and has not returned."""
        return self.raised_s is not None and self.returned_s is None

    @property
    def quiet(self) -> bool:
        """Whether a person or a rule keeps it from being announced."""
        return self.shelved_until_s is not None or self.suppressed or self.out_of_service

    @property
    def state(self) -> AlarmState:
        """Its state; what a person set goes before what the alarm itself does."""
        if self.out_of_service:
            return AlarmState.OUT_OF_SERVICE
        if self.shelved_until_s is not None:
            return AlarmState.SHELVED
        if self.suppressed:
            return AlarmState.SUPPRESSED
        if self.returned_s is not None:
            known = self.acknowledged
            return AlarmState.NORMAL if known else AlarmState.RETURNED_UNACKNOWLEDGED
        if self.raised_s is None:
            return AlarmState.NORMAL
        return AlarmState.ACKNOWLEDGED if self.acknowledged else AlarmState.UNACKNOWLEDGED

    def take(self, condition: Condition, *, urgency: bool) -> None:
        """Take what the condition says now; its urgency too if that may change."""
        self.reason, self.facts = condition.reason, condition.facts
        if urgency:
            self.urgency = condition.urgency

    def event(
        self, transition: Transition, at_s: float, by: str = "", note: str = ""
    ) -> AlarmEvent:
        """The event of this transition; the id is new only for an alarm that has none."""
        if not self.alarm_id:
            self.alarm_id = _short_hash(f"{self.kind.value}|{self.subject}|{at_s:.3f}")
        return AlarmEvent(
            event_id=f"{self.alarm_id}-{transition.name.lower()}-{at_s:.3f}",
            alarm_id=self.alarm_id,
            at_s=at_s,
            kind=self.kind,
            subject=self.subject,
            transition=transition,
            urgency=self.urgency,
            reason=self.reason,
            facts=self.facts,
            first_in=self.first_in,
            by=by,
            note=note,
            announced=self.raised_s is not None and not self.told_by_lot,
        )

    def saved(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)

    @classmethod
    def restored(cls, state: Mapping[str, Any]) -> Entry:
        """The entry that gave `state`."""
        values = dict(state)
        values["kind"], values["urgency"] = AlarmKind(state["kind"]), Urgency(state["urgency"])
        values["reason"], values["facts"] = Reason(state["reason"]), _facts(state["facts"])
        values["moves"] = list(state["moves"])
        return cls(**values)


def _facts(state: Mapping[str, Any]) -> Facts:
    """Facts from plain data: lists were tuples."""
    known = {item.name for item in fields(Facts)}
    values: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in state.items()
        if name in known
    }
    return Facts(**values)


def _short_hash(text: str) -> str:
    return hashlib.sha1(text.encode("utf-8"), usedforsecurity=False).hexdigest()[:12]
