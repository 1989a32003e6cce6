"""What people do on the page, written into the store; the running watch takes it in a second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.book.standing import Standing
from monitor.book.walkround import TAKEN, Thermometer, parse_reading
from monitor.clock import Clock
from monitor.errors import BookError
from monitor.settings.schema import Settings
from monitor.store import Arrival, Reader, Store, WalkStep
from monitor.values import AlarmCommand, Decoded

VERBS = ("acknowledge", "shelve", "unshelve", "out of service", "in service")
NEED_A_REASON = ("shelve", "out of service")
HOUR_S = 3600.0
MOST_SHELVED_S = 7 * 24 * HOUR_S
LONGEST_NOTE = 300
#: A walk nobody went on with for this long is over; the next reading begins a new one.
WALK_OVER_S = 12 * HOUR_S
#: What a phone kept for longer than this is not taken: nobody knows what the bag did since.
OLDEST_KEPT_S = 24 * HOUR_S


class RefusedError(Exception):
    """What was asked can't be done; the text says why and what to do."""


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


def ask_of_alarm(
    store: Store, clock: Clock, who: str, alarm_id: str, verb: str, note: str, for_s: float
) -> None:
    """Write down what a person asks of an alarm. Raises RefusedError."""
    note = " ".join(note.split())[:LONGEST_NOTE]
    if verb not in VERBS:
        raise RefusedError("an alarm can't be asked that")
    if verb in NEED_A_REASON and not note:
        raise RefusedError("say why: who reads it later must know the reason")
    if verb == "shelve" and not 0 < for_s <= MOST_SHELVED_S:
        raise RefusedError("shelve for more than nothing and at most 7 days")
    if not any(one.raised.alarm_id == alarm_id for one in store.standing()):
        raise RefusedError("this alarm no longer stands")
    now_s = clock.wall_s()
    until_s = now_s + for_s if verb == "shelve" else None
    store.add_command(AlarmCommand(now_s, verb, alarm_id, who, note, until_s))


def pending(store: Reader) -> dict[str, str]:
    """What was asked of alarms since the last frame and may not have been taken yet."""
    last = store.last_frame()
    rows = store.journal_after(last.last_command_id if last else 0)
    return {row.body.alarm_id: row.body.verb for row in rows if isinstance(row.body, AlarmCommand)}


def take_walk(
    store: Store, settings: Settings, clock: Clock, who: str, entries: Sequence[Entry]
) -> list[Taken]:
    """Store readings of a walk, each once whatever the phone repeats; all in one transaction."""
    standing = Standing.read(store)
    with store.transaction():
        return [_take(store, settings, clock, who, entry, standing) for entry in entries]


def _take(
    store: Store, settings: Settings, clock: Clock, who: str, entry: Entry, standing: Standing
) -> Taken:
    if not 0 <= entry.age_s <= OLDEST_KEPT_S:
        why = "it was kept for more than a day: read the bag again"
        return Taken(entry.key, entry.bag, "refused", why)
    try:
        bag = standing.bag(standing.code(entry.bag))
        typed = parse_reading(entry.typed, entry.units)
    except BookError as error:
        return Taken(entry.key, entry.bag, "refused", str(error))
    if standing.gone(bag.bag):
        return Taken(entry.key, entry.bag, "refused", f"{bag.bag} is no longer in the room")
    now_s = clock.wall_s()
    measured_s = now_s - entry.age_s / clock.real_s(1.0)
    reading = Thermometer(settings).reading(bag.bag, typed, measured_s, now_s)
    arrival = Arrival(
        source=reading.source,
        dedup=f"page:{entry.key}",
        received_s=now_s,
        monotonic_s=clock.monotonic_s(),
        boot_id=clock.boot_id(),
        synced=clock.synced(),
        decoded=Decoded((reading,)),
    )
    if not store.add_batch([arrival])[0]:
        return Taken(entry.key, bag.bag, "before", value_c=reading.value)
    walk = walk_of(store, now_s, who)
    walk = store.begin_walk(now_s, who) if walk is None else walk
    store.add_walk_step(walk, WalkStep(measured_s, bag.bag, TAKEN, entry.typed.strip()))
    return Taken(entry.key, bag.bag, "stored", value_c=reading.value)


def walk_of(store: Reader, now_s: float, who: str) -> int | None:
    """The open walk of this person; None where there is none, or it was left long ago."""
    found = store.open_walk()
    if found is None or found[2] != who:
        return None
    steps = store.walk_steps(found[0])
    last_s = steps[-1].at_s if steps else found[1]
    return found[0] if now_s - last_s < WALK_OVER_S else None
