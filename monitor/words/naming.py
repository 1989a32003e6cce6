"""What an alarm is about: its name, where it stands, and what else is worth a look."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import tzinfo

from monitor.values import AlarmEvent, AlarmKind, Facts
from monitor.words.quantities import moment

BAG_KINDS = (AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG, AlarmKind.OVERHEATING)
_MOST_NAMES = 4


def clean(text: str) -> str:
    """Text from outside on one line: white space is one space, what can't be printed goes."""
    printable = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(printable.split())


def capital(text: str) -> str:
    """A sentence's beginning; `bagwatt` keeps its small letter."""
    return text if text.startswith("bagwatt") else text[:1].upper() + text[1:]


def name(event: AlarmEvent) -> str:
    """The alarm's subject as a noun that a claim can follow: "bag B-031", "the room"."""
    facts, subject = event.facts, clean(event.subject)
    if event.kind in BAG_KINDS:
        return _named("bag", clean(facts.bag) or subject)
    if event.kind is AlarmKind.PROBE:
        return _named("probe", clean(facts.probe) or subject)
    if event.kind is AlarmKind.LOT_APART:
        return _named("cohort", _cohort_name(facts.cohort or subject))
    if event.kind is AlarmKind.ROOM:
        return "the room" if subject in ("", "room", "many bags") else _named("room", subject)
    if subject in ("", "monitor"):
        return "bagwatt"
    return f"the {subject}" if subject in ("store", "clock", "wall clock") else subject


def _named(noun: str, name: str) -> str:
    return f"{noun} {name}" if name else f"a {noun}"


def _cohort_parts(cohort: str) -> list[str] | None:
    """`Bag.cohort` taken apart: strain, recipe, bag kind, spawn lot, session; None if it isn't."""
    parts = ["" if part == "-" else clean(part) for part in cohort.split("/")]
    return parts if len(parts) == 5 and any(parts) else None


def _cohort_name(cohort: str) -> str:
    parts = _cohort_parts(cohort)
    if parts is None:
        return clean(cohort)
    strain, spawn_lot = parts[0], parts[3]
    named = [strain, f"lot {spawn_lot}" if spawn_lot else ""]
    return ", ".join(part for part in named if part) or "/".join(parts).strip("/")


def _cohort_origin(cohort: str, zone: tzinfo, now_s: float) -> list[str]:
    """What else makes the cohort one: recipe, bag kind, session or moment of inoculation."""
    parts = _cohort_parts(cohort)
    if parts is None:
        return []
    _, recipe, bag_kind, _, session = parts
    if session.isascii() and session.isdigit() and 8 < len(session) < 12:
        session = f"inoculated {moment(float(session), zone, now_s)}"
    elif session:
        session = f"session {session}"
    return [part for part in (recipe, bag_kind, session) if part]


def cohort_in_words(cohort: str, zone: tzinfo, now_s: float) -> str:
    """`Bag.cohort` as a grower calls it: strain and lot, in brackets what else makes it one."""
    origin = ", ".join(_cohort_origin(cohort, zone, now_s))
    return _cohort_name(cohort) + (f" ({origin})" if origin else "")


def place(event: AlarmEvent, zone: tzinfo) -> str:
    """Strain and place in brackets with a leading space, as far as known; else nothing."""
    facts = event.facts
    parts: list[str] = []
    if facts.strain and event.kind in BAG_KINDS:
        parts.append(clean(facts.strain))
    if event.kind is AlarmKind.LOT_APART:
        parts += _cohort_origin(facts.cohort or event.subject, zone, event.at_s)
    if facts.bag and event.kind is AlarmKind.PROBE:
        parts.append(f"on bag {clean(facts.bag)}")
    if facts.rack:
        parts.append(f"rack {clean(facts.rack)}")
    if facts.shelf is not None:
        parts.append(f"shelf {facts.shelf}")
    if facts.slot is not None:
        parts.append(f"slot {facts.slot}")
    return f" ({', '.join(parts)})" if parts else ""


def look_also(facts: Facts) -> str:
    """The neighbours in a sentence: in space, in order of inoculation, by spawn lot."""
    groups = (
        ("next slot", facts.next_slot),
        ("next inoculated", facts.next_inoculated),
        ("same spawn lot", facts.same_lot),
    )
    parts = [f"{listing(names)} ({kind})" for kind, names in groups if names]
    return f"Look at these too: {'; '.join(parts)}." if parts else ""


def listing(names: Sequence[str]) -> str:
    """Names with commas and an "and"; past a handful only how many more there are."""
    shown = [clean(one) for one in names[:_MOST_NAMES]]
    rest = len(names) - len(shown)
    if rest:
        shown.append(f"{rest} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"
