"""What people do on the page, written into the store; the running watch takes it in a second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.book.standing import Standing
from monitor.book.walkbook import arrival_by_hand
from monitor.book.walkround import TAKEN, Thermometer
from monitor.clock import Clock
from monitor.errors import BookError
from monitor.settings.schema import Settings
from monitor.store import Reader, Store, WalkStep
from monitor.terms import HOUR_S

#: A walk nobody went on with for this long is over; the next reading begins a new one.
WALK_OVER_S = 12 * HOUR_S
#: What a phone kept for longer than this is not taken: nobody knows what the bag did since.
OLDEST_KEPT_S = 24 * HOUR_S


@dataclass(frozen=True, slots=True)
class Entry:
    """One reading of a walk as the phone sends it.

    `key` is chosen once by the phone and makes the entry the same however often it is sent;
    `age_s` is how long ago it was typed, in seconds of life by the phone's own clock.
    """

    key: str
    bag: str
    typed: str
    units: str
    age_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of an entry: `stored`, `before` (known already) or `refused` with its why."""

    key: str
    bag: str
    state: str
    why: str = ""
    value_c: float | None = None


def take_walk(
    store: Store, settings: Settings, clock: Clock, who: str, entries: Sequence[Entry]
) -> list[Taken]:
    """Store readings of a walk, each once whatever the phone repeats; all in one transaction."""
    standing, thermometer = Standing.read(store), Thermometer(settings)
    with store.transaction():
        return [_take(store, thermometer, clock, who, entry, standing) for entry in entries]


def _take(
    store: Store, thermometer: Thermometer, clock: Clock, who: str, entry: Entry, standing: Standing
) -> Taken:
    if not 0 <= entry.age_s <= OLDEST_KEPT_S:
        why = "it was kept for more than a day: read the bag again"
        return Taken(entry.key, entry.bag, "refused", why)
    try:
        bag = standing.bag(standing.code(entry.bag))
        typed = thermometer.parse(entry.typed, entry.units)
    except BookError as error:
        return Taken(entry.key, entry.bag, "refused", str(error))
    if standing.gone(bag.bag):
        return Taken(entry.key, entry.bag, "refused", f"{bag.bag} is no longer in the room")
    now_s = clock.wall_s()
    measured_s = now_s - entry.age_s / clock.real_s(1.0)
    reading = thermometer.reading(bag.bag, typed, measured_s, now_s)
    arrival = arrival_by_hand(store, clock, reading, f"page:{entry.key}")
    if not store.add_batch([arrival])[0]:
        return Taken(entry.key, bag.bag, "before", value_c=reading.value)
    walk = walk_of(store, now_s, who)
    walk = store.begin_walk(now_s, who) if walk is None else walk
    store.add_walk_step(walk, WalkStep(measured_s, bag.bag, TAKEN, str(typed)))
    return Taken(entry.key, bag.bag, "stored", value_c=reading.value)


def walk_of(store: Reader, now_s: float, who: str) -> int | None:
    """The open walk of this person; None where there is none, or it was left long ago."""
    found = store.open_walk()
    if found is None or found[2] != who:
        return None
    steps = store.walk_steps(found[0])
    last_s = steps[-1].at_s if steps else found[1]
    return found[0] if now_s - last_s < WALK_OVER_S else None
