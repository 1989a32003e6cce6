"""The wall clock lies before the last closed frame: was it ahead then, or is it behind now?

A clock that people or a time server set back is believed once that has stood for a while. One
that began so and was never set (a dead battery, no network) is not, unless it lies where nobody
watched: before the frames it jumped ahead to.
"""

from __future__ import annotations

from contextlib import suppress
from enum import Enum

from monitor.errors import StoreError
from monitor.store import Aside, Reader
from monitor.terms import DAY_S

#: No room was watched before this was written: 2026-11-01.
WRITTEN_S = 1_793_491_200.0

#: A step back by less is waited for: no frame is closed twice.
LEAST_S = 900.0
#: How long a clock that was set back must stand so before it is believed.
SURE_S = 300.0
#: The same where over a day of frames would be set aside: that much is rather right than wrong.
SURE_OF_A_DAY_S = 3600.0
#: How long nobody is judged before people are told of a clock that is behind.
TELL_S = 900.0


class Turn(Enum):
    """What is to be done about the clock."""

    NOTHING = "nothing"
    GO_BACK = "go back"
    TELL = "tell"


class SetBack:
    """Watches how far the clock lies before the last frame. Intervals are on the monotonic one."""

    def __init__(self, frame_s: float) -> None:
        self._frame_s = frame_s
        self._bound_s = max(2.0 * frame_s, LEAST_S)
        self._since_s: float | None = None
        self._by_hand = False
        self._told = False
        self._tried_s = 0.0

    def stepped(self, step_s: float, wall_s: float) -> None:
        """The clock stepped while we watched: only people and time servers do that."""
        self._since_s = None
        self._by_hand = step_s < 0 and wall_s >= WRITTEN_S

    def look(
        self, last_end_s: float, wall_s: float, now_s: float, store: Reader, *, synced: bool
    ) -> Turn:
        """What to do at `wall_s` where the last frame ended at `last_end_s`."""
        if last_end_s - wall_s <= self._bound_s:
            self._since_s, self._told = None, False
            return Turn.NOTHING
        self._since_s = now_s if self._since_s is None else self._since_s
        stood_s = now_s - self._since_s
        if stood_s >= SURE_S and now_s - self._tried_s >= SURE_S:
            self._tried_s = now_s
            if self._believed(wall_s, stood_s, store, synced=synced):
                return Turn.GO_BACK
        if stood_s >= TELL_S and not self._told:
            self._told = True
            return Turn.TELL
        return Turn.NOTHING

    def _believed(self, wall_s: float, stood_s: float, store: Reader, *, synced: bool) -> bool:
        """Whether the clock is right now and was ahead before, rather than the other way round."""
        if wall_s < WRITTEN_S:
            return False
        with suppress(StoreError):
            if store.closes_after(wall_s) * self._frame_s > DAY_S and stood_s < SURE_OF_A_DAY_S:
                return False
            # Where nobody watched at this time, though before and after, it leapt.
            unwatched = stood_s >= TELL_S and store.gap_at(wall_s) > self._bound_s
            return synced or self._by_hand or unwatched
        return False


def put_by_last(store: Reader) -> Aside | None:
    """What was put by last as the clock had been ahead; None too where the store can't say."""
    with suppress(StoreError):
        return store.put_by_last()
    return None
