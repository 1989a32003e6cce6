"""A room's account beside its book: what became of its bags, and what may be amiss with both."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from itertools import pairwise

from monitor.judge.strain import Strain
from monitor.review.account import Account, bags_of
from monitor.review.held_back import room_spans
from monitor.review.outcomes import endings, strangers
from monitor.review.predict import predict
from monitor.review.tune import Room
from monitor.review.tune_words import day
from monitor.settings.model import did_you_mean
from monitor.store import Reader
from monitor.terms import DAY_S, AlarmKind, Transition, Urgency
from monitor.values import Bag, BookEntry
from monitor.words.quantities import counted

#: The kind of note in which a watch writes the thresholds it goes by.
THRESHOLDS_NOTE = "thresholds"
_OF_A_BAG = frozenset({AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG})
StrainOf = Callable[[str], Strain]


@dataclass(frozen=True, slots=True)
class Book:
    """What a room's book says: the bags as they stand, entries that were not taken back, when
    live alarms first called each bag hot or stalled (`alarmed_s`) and overheating (`heated_s`,
    None where nobody kept it), and the last moment it knows of."""

    bags: Mapping[str, Bag]
    entries: tuple[BookEntry, ...]
    alarmed_s: Mapping[str, float]
    now_s: float
    heated_s: Mapping[str, float] | None = None


def book_of(store: Reader) -> Book:
    """The book of the store."""
    bags: dict[str, Bag] = {}
    for version in store.history("bag"):
        if isinstance(version.now, Bag):
            bags[version.name] = version.now
    alarmed_s: dict[str, float] = {}
    heated_s: dict[str, float] = {}
    for event in store.events(limit=1_000_000):
        called = event.announced or event.transition is Transition.RAISED
        if event.urgency is not Urgency.LATER and called:
            if event.kind in _OF_A_BAG:
                alarmed_s.setdefault(event.facts.bag or event.subject, event.at_s)
            elif event.kind is AlarmKind.OVERHEATING:
                heated_s.setdefault(event.subject, event.at_s)
    last = store.last_frame()
    entries = tuple(one.entry for one in store.entries() if not one.struck)
    return Book(bags, entries, alarmed_s, last.end_s if last else 0.0, heated_s)


def room_of(
    account: Account,
    book: Book,
    strain_of: StrainOf,
    progress: Callable[[float], None] = lambda share: None,
) -> tuple[Room, tuple[str, ...]]:
    """The room with its bags' ends, and the bags that entries name and nobody knows."""
    bags = {name: versions[-1] for name, versions in bags_of([account]).items()} | dict(book.bags)
    longest_d = max((strain_of(bag.strain).run_days[1] for bag in bags.values()), default=0.0)
    promised = predict(account, strain_of, progress)
    called_s = dict(promised.called_s)
    for name, at_s in book.alarmed_s.items():
        called_s[name] = min(called_s.get(name, at_s), at_s)
    heated_s = promised.heated_s if book.heated_s is None else book.heated_s
    ends = endings(bags, book.entries, book.now_s, longest_d * DAY_S)
    held_s = room_spans(promised.events)
    return Room(account, ends, called_s, heated_s, held_s), strangers(bags, book.entries)


def no_history(strain: str, accounts: Iterable[Account]) -> str:
    """Why there is nothing to tune a strain by, in words; empty where there is something."""
    versions = bags_of(accounts)
    if not versions:
        return (
            "there is no history: no frame with a bag was ever closed here; let `bagwatt watch` see"
            " a run to its end, or name a --folder"
        )
    known = sorted({one[-1].strain for one in versions.values()})
    if strain in known:
        return ""
    return f"no bag of {strain} is in the history, only of {', '.join(known)}" + did_you_mean(
        strain, known
    )


def renamed(strain: str, accounts: Iterable[Account]) -> list[str]:
    """A word for bags that were booked under another strain at first."""
    before: dict[str, int] = {}
    for versions in bags_of(accounts).values():
        if versions[-1].strain == strain:
            for other in {one.strain for one in versions[:-1]} - {strain}:
                before[other] = before.get(other, 0) + 1
    return [
        f"{counted(count, 'bag', 'bags')} of {strain} booked as {other} at first: what was judged"
        " before the change was judged as that"
        for other, count in sorted(before.items())
    ]


def changed_midway(strain: str, store: Reader, account: Account, zone: tzinfo) -> list[str]:
    """A word for each time at which the strain's thresholds changed inside a run."""
    held: list[tuple[float, tuple[object, ...]]] = []
    for note in store.notes(limit=100_000):
        if note.kind == THRESHOLDS_NOTE:
            said = json.loads(note.detail)
            held.append((note.at_s, tuple(said.get(strain, said.get("", ())))))
    stays = _stays(strain, account)
    return [
        f"its thresholds changed on {day(at_s, zone)}, midway in a run: what was called before went"
        " by the old ones, while the table holds each threshold throughout"
        for (_, before), (at_s, after) in pairwise(held)
        if before != after and any(first_s < at_s < last_s for first_s, last_s in stays)
    ]


def _stays(strain: str, account: Account) -> list[tuple[float, float]]:
    """From when to when each bag of a strain was in the room."""
    came_s: dict[str, float] = {}
    stays = []
    for frame in account.frames:
        for name in frame.gone:
            if name in came_s:
                stays.append((came_s.pop(name), frame.end_s))
        for name, bag in frame.bags.items():
            if bag.strain == strain:
                came_s.setdefault(name, frame.end_s)
    last_s = account.span_s[1] if account.span_s else 0.0
    return [*stays, *((at_s, last_s) for at_s in came_s.values())]
