"""A run rebuilt from the store: the last checkpoint, then the log exactly as it came."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import chain, pairwise
from typing import Any

from monitor.assemble import build_road, plan_of
from monitor.road import Plan, Road
from monitor.runner import Close, Item, take
from monitor.settings.schema import Settings
from monitor.store import BookChange, FrameClose, LogItem, Reader, Restamp
from monitor.store.codec import from_text, to_text
from monitor.values import AlarmCommand, AlarmEvent, Bag, BookEntry, Flag, Probe, Reading

Say = Callable[[str], None]

#: Written into every checkpoint; another number means a road of another make, not restored.
ROAD_FORMAT = 13


@dataclass(slots=True)
class Book:
    """Bags and probes as the log has told them so far."""

    bags: dict[str, Bag] = field(default_factory=dict)
    probes: dict[str, Probe] = field(default_factory=dict)

    def change(self, change: BookChange) -> None:
        """Take one new version of a bag or a probe, or its leaving."""
        if change.of_probe:
            _put(self.probes, change.name, change.now, Probe)
        else:
            _put(self.bags, change.name, change.now, Bag)

    def plan(self) -> Plan:
        return plan_of(self.bags, self.probes)


def _put(book: dict[str, Bag] | dict[str, Probe], name: str, now: object, kind: type) -> None:
    if isinstance(now, kind):
        book[name] = now  # type: ignore[assignment]
    else:
        book.pop(name, None)


@dataclass(slots=True)
class Resumed:
    """A road as it stood, the book, and how far the log has been taken."""

    road: Road
    book: Book
    last_reading_id: int = 0
    last_journal_id: int = 0
    last_close: FrameClose | None = None
    events: list[AlarmEvent] = field(default_factory=list)
    #: Events after the last close: a run that was cut off may not have written them.
    untold: list[AlarmEvent] = field(default_factory=list)
    #: Doubts about readings after the last saved state, which may not be written either.
    flags: list[tuple[int, Flag]] = field(default_factory=list)

    @classmethod
    def fresh(cls, settings: Settings) -> Resumed:
        """A run at its very beginning."""
        return cls(build_road(settings, Plan()), Book())


def checkpoint_text(road: Road, book: Book) -> str:
    """The road and the book as text from which `resume` goes on."""
    return json.dumps(
        {
            "format": ROAD_FORMAT,
            "bags": [to_text(bag) for bag in book.bags.values()],
            "probes": [to_text(probe) for probe in book.probes.values()],
            "road": road.state(),
        },
        separators=(",", ":"),
    )


def resume(
    store: Reader, settings: Settings, *, from_start: bool = False, say: Say = lambda _: None
) -> Resumed:
    """Rebuild the run from the newest checkpoint that fits, or from the log's start.

    The events of the log after that point are collected in `events`; they are in the store
    already where the run came that far.
    """
    resumed = None if from_start else _restored(store, settings, say)
    if resumed is None:
        resumed = beginning(store, settings)
    close = resumed.last_close
    log = store.iter_log(close.end_s if close else None)
    for row, items in with_items(log, resumed.book, store):
        for item in items:
            step = take(resumed.road, item)
            resumed.events.extend(step.events)
            resumed.untold.extend(step.events)
            if step.flagged is not None and isinstance(row.body, Reading):
                resumed.flags.extend((row.id, flag) for flag in step.flagged.flags)
        _advance(resumed, row)
    return resumed


def _restored(store: Reader, settings: Settings, say: Say) -> Resumed | None:
    """The run at the newest saved state that this bagwatt can take, None if there is none."""
    for checkpoint in store.checkpoints():
        try:
            saved = json.loads(checkpoint.text)
            if saved["format"] == ROAD_FORMAT:
                return taken_up(store, settings, saved, checkpoint.end_s)
        except (LookupError, TypeError, ValueError, AttributeError) as error:
            say(f"a saved state of the run does not fit ({error!r}); an older one is tried")
    return None


def beginning(store: Reader, settings: Settings) -> Resumed:
    """The run at the log's start; where old readings are gone, at the first frame kept whole."""
    resumed = Resumed.fresh(settings)
    close = store.last_frame_pruned()
    if close is None:
        return resumed
    told = (
        row
        for row in store.journal_after(0)
        if row.id <= close.last_command_id and not isinstance(row.body, Restamp | AlarmCommand)
    )
    for _, items in with_items(told, resumed.book, store):
        for item in items:
            take(resumed.road, item)
    resumed.last_reading_id, resumed.last_journal_id = close.last_reading_id, close.last_command_id
    resumed.last_close = close
    return resumed


def taken_up(store: Reader, settings: Settings, saved: Any, end_s: float) -> Resumed:
    """The run as `checkpoint_text` saved it after the close of a frame; KeyError without it."""
    book = Book()
    book.bags = {bag.bag: bag for bag in (from_text(Bag, text) for text in saved["bags"])}
    book.probes = {
        probe.probe: probe for probe in (from_text(Probe, text) for text in saved["probes"])
    }
    road = build_road(settings, book.plan())
    road.restore(saved["road"])
    close = store.frame_closed_at(end_s)
    return Resumed(road, book, close.last_reading_id, close.last_command_id, close)


def with_items(
    rows: Iterable[LogItem], book: Book, store: Reader
) -> Iterator[tuple[LogItem, Iterable[Item]]]:
    """Each row of the log with what it means to the road, to be taken before the next row.

    A re-stamp hands its readings in once more. Of versions of the book that follow each other
    the last one brings the plan: a thousand bags that come at once are planned once.
    """
    for row, following in pairwise(chain(rows, (None,))):
        assert row is not None
        body = row.body
        items: Iterable[Item] = ()
        if isinstance(body, Reading | AlarmCommand | BookEntry):
            items = (body,)
        elif isinstance(body, FrameClose):
            items = (Close(body.end_s, body.house),)
        elif isinstance(body, BookChange):
            book.change(body)
            if following is None or not isinstance(following.body, BookChange):
                items = (book.plan(),)
        elif isinstance(body, Restamp):
            items = (reading for _, reading in store.restamped(body))
        yield row, items


def _advance(resumed: Resumed, row: LogItem) -> None:
    if isinstance(row.body, FrameClose):
        resumed.last_close = row.body
        resumed.untold.clear()
    elif isinstance(row.body, Reading):
        resumed.last_reading_id = row.id
    else:
        resumed.last_journal_id = row.id
