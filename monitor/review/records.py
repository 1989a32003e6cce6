"""What is known of each bag by its end: where it came from and what became of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from monitor.store import BookChange, LogItem, Reader, Struck
from monitor.values import AlarmEvent, AlarmKind, Bag, BookEntry, Record, Transition

UNKNOWN = "unknown"
HEALTHY = "healthy"
PULLED = "pulled"
CONTAMINATED_SURELY = "contaminated surely"
CONTAMINATED_MAYBE = "contaminated maybe"
LOST = frozenset({PULLED, CONTAMINATED_SURELY, CONTAMINATED_MAYBE})

#: Kinds of records in the book that tell of a bag's origin.
LOT, SESSION, RECIPE = "lot", "session", "recipe"
#: Alarms that point at one bag.
_OF_A_BAG = frozenset({AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG})
_CAME_THROUGH = frozenset({"full run", "to fruiting", "yield"})
_GONE = frozenset({"pulled", "to fruiting", "composted"})


@dataclass(frozen=True, slots=True)
class BagRecord:
    """One bag with its origins and its end; what nobody wrote down is empty or None.

    `spawn_parents` are the forebears of its spawn lot, nearest first. `outcome` is one of
    this module's words. `standing` is whether it is in the room still.
    """

    bag: str
    batch: str
    strain: str
    spawn_lot: str
    inoculated_s: float
    mass_kg: float
    rack: str = ""
    shelf: int | None = None
    slot: int | None = None
    spawn_parents: tuple[str, ...] = ()
    load: str = ""
    load_position: str = ""
    session: str = ""
    sequence: int | None = None
    person: str = ""
    recipe: str = ""
    bag_kind: str = ""
    supplier: str = ""
    outcome: str = UNKNOWN
    outcome_s: float | None = None
    full_run_s: float | None = None
    alarmed: bool = False
    standing: bool = True

    @property
    def lost(self) -> bool:
        return self.outcome in LOST


def bag_records(store: Reader) -> list[BagRecord]:
    """Every bag that was ever in the book, by time of inoculation, then name."""
    return records_of(store.journal_after(0), store.events(limit=1_000_000))


def records_of(journal: Iterable[LogItem], events: Iterable[AlarmEvent]) -> list[BagRecord]:
    """The records that a journal and its alarms amount to."""
    found: dict[str, BagRecord] = {}
    entries: dict[int, BookEntry] = {}
    kept: dict[tuple[str, str], Mapping[str, str]] = {}
    for item in journal:
        match item.body:
            case BookChange():
                _take_version(found, item.body)
            case BookEntry():
                entries[item.id] = item.body
            case Struck():
                entries.pop(item.body.entry_id, None)
            case Record():
                kept[item.body.kind, item.body.name] = item.body.fields
    found = {name: _with_origins(record, kept) for name, record in found.items()}
    for entry in sorted(entries.values(), key=lambda one: one.at_s):
        if entry.bag in found:
            found[entry.bag] = after_entry(found[entry.bag], entry)
    for event in events:
        raised = event.transition is Transition.RAISED and event.kind in _OF_A_BAG
        if raised and event.facts.bag in found:
            found[event.facts.bag] = replace(found[event.facts.bag], alarmed=True)
    return sorted(found.values(), key=lambda one: (one.inoculated_s, one.bag))


_Kept = Mapping[tuple[str, str], Mapping[str, str]]


def _with_origins(record: BagRecord, kept: _Kept) -> BagRecord:
    """The record with what the book has of its spawn lot, session and recipe."""
    forebears = _forebears(record.spawn_lot, kept)
    made_from = [(LOT, record.spawn_lot), *((LOT, lot) for lot in forebears)]
    sellers = [kept.get(one, {}).get("supplier") for one in (*made_from, (RECIPE, record.recipe))]
    session = kept.get((SESSION, record.session), {})
    return replace(
        record,
        spawn_parents=tuple(forebears) or record.spawn_parents,
        supplier=record.supplier or next(filter(None, sellers), ""),
        person=record.person or session.get("person", ""),
    )


def _forebears(lot: str, kept: _Kept) -> list[str]:
    """Lots a jar comes from, the nearest first; `LOT/JAR` is a jar of `LOT`."""
    found: list[str] = []
    while lot:
        fields = kept.get((LOT, lot), {})
        jar_of = lot.rpartition("/")[0]
        lot = jar_of or fields.get("parent", "")
        if not lot or lot in found:
            break
        found.append(lot)
    return found


def _take_version(found: dict[str, BagRecord], change: BookChange) -> None:
    if isinstance(change.now, Bag):
        found[change.name] = record_of(change.now)
    elif not change.of_probe and change.name in found:
        found[change.name] = replace(found[change.name], standing=False)


def record_of(bag: Bag) -> BagRecord:
    """What a row of the book says of a bag; origins without a column of their own are extra."""
    parents = bag.extra.get("spawn_parents", bag.extra.get("spawn_parent", ""))
    jar = bag.extra.get("jar", "")
    return BagRecord(
        bag=bag.bag,
        batch=bag.batch,
        strain=bag.strain,
        spawn_lot=f"{bag.spawn_lot}/{jar}" if jar else bag.spawn_lot,
        inoculated_s=bag.inoculated_s,
        mass_kg=bag.mass_kg,
        rack=bag.rack,
        shelf=bag.shelf,
        slot=bag.slot,
        spawn_parents=tuple(parents.replace(";", " ").split()),
        load=bag.load,
        load_position=bag.extra.get("load_position", bag.extra.get("position", "")),
        session=bag.session,
        sequence=bag.sequence,
        person=bag.person,
        recipe=bag.recipe,
        bag_kind=bag.bag_kind,
        supplier=bag.extra.get("supplier", ""),
    )


def after_entry(record: BagRecord, entry: BookEntry) -> BagRecord:
    """The record once this entry, the newest so far, is taken."""
    event = entry.event.strip().lower().replace("-", " ")
    outcome = record.outcome
    if event == "pulled":
        outcome = _suspected(" ".join([entry.detail, *entry.facts.values()]))
    elif event == "outcome":
        outcome = outcome_word(entry.detail)
    elif event == "returned":
        return replace(record, outcome=UNKNOWN, outcome_s=None, standing=True)
    elif event in _CAME_THROUGH and not record.lost:
        outcome = HEALTHY
    if event == "full run" and record.full_run_s is None:
        record = replace(record, full_run_s=entry.at_s)
    if outcome != record.outcome:
        record = replace(record, outcome=outcome, outcome_s=entry.at_s)
    return replace(record, standing=record.standing and event not in _GONE and not record.lost)


def _suspected(said: str) -> str:
    """How sure they were who pulled a bag."""
    words = said.lower()
    if "surely" in words:
        return CONTAMINATED_SURELY
    return CONTAMINATED_MAYBE if "maybe" in words else PULLED


def outcome_word(detail: str) -> str:
    """An outcome as this module calls it; free words stay as they are."""
    words = " ".join(detail.lower().split())
    if "contaminated" in words or "mould" in words:
        return CONTAMINATED_MAYBE if "maybe" in words else CONTAMINATED_SURELY
    return HEALTHY if words in ("healthy", "sound", "clean") else words or UNKNOWN
