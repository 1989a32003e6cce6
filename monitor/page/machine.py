"""What the monitor itself is doing: sources, queue, store, messages, frames, refusals."""

from __future__ import annotations

from dataclasses import dataclass

from monitor.page.latest import Latest
from monitor.settings.schema import Settings
from monitor.store import Counts, FrameClose, Note, Reader
from monitor.terms import AlarmKind

MOST_NOTES = 20
NOTES_S = 7 * 86400.0


@dataclass(frozen=True, slots=True)
class SourceLine:
    """A source and what the last frame said against it."""

    name: str
    kind: str
    problem: str
    refused: int


@dataclass(frozen=True, slots=True)
class Machine:
    """The monitor at a glance."""

    now_s: float
    sources: tuple[SourceLine, ...]
    others: tuple[str, ...]
    waiting: int
    room_for: int
    counts: Counts
    last: FrameClose | None
    frame_age_s: float | None
    notes: tuple[Note, ...]


def look_at_monitor(store: Reader, settings: Settings, latest: Latest, now_s: float) -> Machine:
    """Everything is as of the last closed frame but the queue, which is as it is now."""
    last, counts = store.last_frame(), store.counts()
    house = [one for one in (last.house if last else ()) if one.kind is AlarmKind.HOUSE]
    troubles = {one.subject: one.reason.value for one in house}
    sources = tuple(
        SourceLine(
            one.name,
            one.kind,
            troubles.pop(f"source {one.name}", ""),
            sum(count for (source, _), count in counts.refused.items() if source == one.name),
        )
        for one in settings.sources
    )
    return Machine(
        now_s,
        sources,
        tuple(f"{subject}: {reason}" for subject, reason in troubles.items()),
        latest.waiting(),
        latest.room_for,
        counts,
        last,
        None if last is None else max(0.0, now_s - last.closed_s),
        _notes(store, now_s),
    )


def _notes(store: Reader, now_s: float) -> tuple[Note, ...]:
    """The newest first; what the monitor wrote down for itself is for nobody to read."""
    told = [one for one in store.notes(now_s - NOTES_S) if not one.detail.startswith("{")]
    return tuple(reversed(told[-MOST_NOTES:]))
