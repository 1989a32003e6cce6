"""The one loop: a stream of items in, the road, a sink out; knows no device, file or clock."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from monitor.road import Outcome, Plan, Road
from monitor.terms import DAY_S
from monitor.values import AlarmCommand, AlarmEvent, BookEntry, Condition, Flagged, Reading


@dataclass(frozen=True, slots=True)
class Close:
    """The frame that ends at `end_s` is over; `house` is what the monitor says of itself."""

    end_s: float
    house: tuple[Condition, ...] = ()


Item = Reading | BookEntry | AlarmCommand | Plan | Close


@dataclass(frozen=True, slots=True)
class Step:
    """What came of one item: the reading with its flags, alarm events, or a frame's outcome."""

    item: Item
    flagged: Flagged | None = None
    events: tuple[AlarmEvent, ...] = ()
    outcome: Outcome | None = None


def take(road: Road, item: Item) -> Step:
    """Put one item on the road and say what came of it."""
    if isinstance(item, Reading):
        return Step(item, flagged=road.feed(item))
    if isinstance(item, Close):
        outcome = road.close(item.end_s, item.house)
        return Step(item, events=outcome.events, outcome=outcome)
    if isinstance(item, AlarmCommand):
        return Step(item, events=road.command(item))
    if isinstance(item, BookEntry):
        road.note(item)
        return Step(item)
    road.replan(item)
    return Step(item)


def run(road: Road, items: Iterable[Item], sink: Callable[[Step], None]) -> None:
    """Put every item on the road in order and hand each step to the sink."""
    for item in items:
        sink(take(road, item))


def with_closes(
    items: Iterable[Reading | BookEntry], frame_s: float, grace_s: float = 0.0
) -> Iterator[Item]:
    """Put the closes of frames between items that carry their arrival.

    A frame is closed by the first item that arrives `grace_s` or more after its end; frames
    stand on multiples of `frame_s` since 1970. Frames without an item are closed as well, so
    silence is seen, but no more than a day of them: a longer gap is passed over. The last
    frame with items is closed at the end of the stream.
    """
    end_s = math.nan
    for item in items:
        arrived_s = item.received_s if isinstance(item, Reading) else item.at_s
        if math.isnan(end_s):
            end_s = frame_end_s(arrived_s, frame_s)
        for ended_s in ended_frames_s(end_s, arrived_s - grace_s, frame_s):
            yield Close(ended_s)
            end_s = ended_s + frame_s
        if arrived_s - grace_s >= end_s:
            end_s = frame_end_s(arrived_s - grace_s, frame_s)
        yield item
    if not math.isnan(end_s):
        yield Close(end_s)


def frame_end_s(at_s: float, frame_s: float) -> float:
    """The end of the half-open frame that holds `at_s`."""
    return (math.floor(at_s / frame_s) + 1) * frame_s


def ended_frames_s(end_s: float, now_s: float, frame_s: float) -> list[float]:
    """Ends of the frames, from the one ending at `end_s`, that are over at `now_s`.

    At most a day of them: after a longer gap the caller goes on at the present frame.
    """
    count = math.floor((now_s - end_s) / frame_s) + 1 if now_s >= end_s else 0
    return [end_s + index * frame_s for index in range(min(count, math.ceil(DAY_S / frame_s)))]
