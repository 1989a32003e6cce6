"""When a room's alarm holds back those of its bags: nobody is told of them, so nobody walks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.judge.alarm_state import AlarmParams
from monitor.review.heat_scan import Cores
from monitor.terms import AlarmKind, Reason, Transition
from monitor.values import AlarmEvent

#: From and until [s since 1970].
Span = tuple[float, float]


def room_spans(events: Iterable[AlarmEvent]) -> tuple[Span, ...]:
    """When the alarms of a room explain its bags, as `judge.floods.explained_by_room` has it:
    while they stand, but not for ever, and for a while after. What stands for many bags at once
    tells of them, and holds none back here."""
    params = AlarmParams()
    found: list[Span] = []
    stands: dict[str, int] = {}
    for event in events:
        if event.kind is not AlarmKind.ROOM or event.reason is Reason.MANY_AT_ONCE:
            continue
        if event.transition is Transition.RAISED:
            stands[event.alarm_id] = len(found)
            found.append((event.at_s, event.at_s + params.room_explains_s))
        elif event.transition is Transition.RETURNED and event.alarm_id in stands:
            place = stands.pop(event.alarm_id)
            from_s, until_s = found[place]
            found[place] = (from_s, min(until_s, event.at_s))
            found.append((event.at_s, event.at_s + params.room_after_s))
    return tuple(found)


def held_back(
    kept: Cores, spans: Sequence[Sequence[Span]], bags: Sequence[int]
) -> NDArray[np.bool_]:
    """Whether a call that begins in a frame would be held back: (bags, frames), like `kept`.

    spans  of each account
    bags   places of those it is asked for; the others are never held back
    """
    found = np.zeros(kept.core_c.shape, dtype=np.bool_)
    delay_s = AlarmParams().on_delay_s[AlarmKind.OVERHEATING]
    for place in bags:
        told_s = kept.at_s[place] + delay_s
        for from_s, until_s in spans[kept.bags[place][0]]:
            found[place] |= (from_s <= told_s) & (told_s <= until_s)
    return found
