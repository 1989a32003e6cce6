"""Suppression by design: one alarm for what one cause explains, its members held back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.judge.alarm_state import AlarmParams, Entry
from monitor.values import AlarmKind, Condition, Facts, Reason, Urgency

#: Kinds a room event explains: bags are warm or cold because the room is.
_BAG_KINDS = frozenset({AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG, AlarmKind.OVERHEATING})
#: Probe faults that a fast change of the room can look like.
_SHAKEN = frozenset({Reason.PROBE_JUMPED, Reason.PROBE_FELL_OFF})
#: What keeps every probe silent at once.
_MUTE = frozenset(
    {
        Reason.POWER_CUT,
        Reason.BROKER_LOST,
        Reason.BROKER_REFUSED,
        Reason.PORT_LOST,
        Reason.SOURCE_SILENT,
        Reason.STORE_FAILING,
        Reason.WAS_DARK,
    }
)

#: The subject of the one alarm for many bags of a room.
ROOM_FLOOD = "many bags"


@dataclass(frozen=True, slots=True)
class Onset:
    """A bag alarm that was raised, or would have been, lately."""

    at_s: float
    subject: str
    cohort: str
    cohort_size: int


def explained_by_room(
    candidate: Entry, causes: Iterable[Entry], now_s: float, params: AlarmParams
) -> bool:
    """Whether a room or house alarm explains a candidate that began no earlier than it.

    It does while it stands, but no longer than `room_explains_s`, and for `room_after_s`
    after it returned to normal: a room that stays outside its band for days must not mute
    its bags.
    """
    for cause in causes:
        if cause.kind not in (AlarmKind.ROOM, AlarmKind.HOUSE) or cause.raised_s is None:
            continue
        if cause.reason is Reason.MANY_AT_ONCE or candidate.began_s < cause.began_s:
            continue
        if cause.returned_s is not None:
            over = now_s - cause.returned_s > params.room_after_s
        else:
            over = now_s - cause.raised_s > params.room_explains_s
        if not over and _explains(cause, candidate):
            return True
    return False


def _explains(cause: Entry, candidate: Entry) -> bool:
    if candidate.kind is AlarmKind.PROBE:
        if candidate.reason is Reason.PROBE_SILENT:
            return cause.reason in _MUTE
        return cause.kind is AlarmKind.ROOM and candidate.reason in _SHAKEN
    return cause.kind is AlarmKind.ROOM and candidate.kind in _BAG_KINDS


def flood_of(
    candidate: Entry, onsets: Iterable[Onset], params: AlarmParams
) -> tuple[AlarmKind, str] | None:
    """Kind and subject of the flood a candidate belongs to, if there is one.

    `onsets` are those of the last `flood_s`, the candidate's own among them.
    """
    if candidate.kind not in _BAG_KINDS:
        return None
    bags = {onset.subject: onset for onset in onsets}
    if len(bags) >= params.flood_room:
        return AlarmKind.ROOM, ROOM_FLOOD
    cohort = candidate.facts.cohort
    members = [onset for onset in bags.values() if onset.cohort == cohort and cohort]
    size = max((onset.cohort_size for onset in members), default=0)
    if len(members) >= max(params.flood_least, params.flood_share * size):
        return AlarmKind.LOT_APART, cohort
    return None


def flood_condition(
    kind: AlarmKind, subject: str, members: Iterable[Entry], urgency: Urgency
) -> Condition:
    """The one condition that stands for many members; it names the first in."""
    bags = sorted(members, key=lambda entry: (entry.began_s, entry.subject))
    first = bags[0]
    names = tuple(dict.fromkeys(entry.subject for entry in bags))
    facts = Facts(
        cohort=first.facts.cohort if kind is AlarmKind.LOT_APART else "",
        strain=first.facts.strain if kind is AlarmKind.LOT_APART else "",
        since_s=first.began_s,
        affected=len(names),
        detail=f"first {names[0]}, then {', '.join(names[1:6])}" if len(names) > 1 else names[0],
    )
    return Condition(kind, subject, urgency, Reason.MANY_AT_ONCE, facts)
