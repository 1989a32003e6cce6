"""What happened to an alarm in its life, told in words: raised, shelved, held back, returned."""

from __future__ import annotations

from datetime import tzinfo

from monitor.values import AlarmEvent, AlarmKind, Transition, Urgency
from monitor.words.findings import since
from monitor.words.naming import BAG_KINDS, capital, clean, name, place
from monitor.words.quantities import duration
from monitor.words.sayings import BACK, NOT_JUDGED

_WHEN = {Urgency.NOW: "Go in now", Urgency.TODAY: "Look today", Urgency.LATER: "For the morning"}
_WHEN_HOUSE = {Urgency.NOW: "Act now", Urgency.TODAY: "Today", Urgency.LATER: "For the morning"}
_FOR = {
    Urgency.NOW: "acting at once",
    Urgency.TODAY: "the next walk",
    Urgency.LATER: "the morning",
}
_LABELS = {
    Transition.ACKNOWLEDGED: "Acknowledged",
    Transition.RETURNED: "Back to normal",
    Transition.SHELVED: "Shelved",
    Transition.UNSHELVED: "No longer shelved",
    Transition.SUPPRESSED: "Held back",
    Transition.UNSUPPRESSED: "No longer held back",
    Transition.OUT_OF_SERVICE: "Out of service",
    Transition.IN_SERVICE: "In service again",
}


def unjudged(event: AlarmEvent) -> str:
    """Why an alarm on bags ended without their warmth being normal; empty if it didn't."""
    if event.transition is not Transition.RETURNED:
        return ""
    on_bags = event.kind in BAG_KINDS or event.kind is AlarmKind.LOT_APART
    return NOT_JUDGED.get(event.reason, "") if on_bags else ""


def label(event: AlarmEvent) -> str:
    """What happened in two or three words; empty while nothing did but being raised."""
    return "Not judged for now" if unjudged(event) else _LABELS.get(event.transition, "")


def heading(event: AlarmEvent) -> str:
    """The title's beginning: what happened, or else when to act."""
    told = label(event)
    if told:
        return told
    told = (_WHEN_HOUSE if event.kind is AlarmKind.HOUSE else _WHEN)[event.urgency]
    if event.transition is Transition.URGENCY_CHANGED:
        return f"Changed to {told[0].lower()}{told[1:]}"
    return told


def happened(event: AlarmEvent, zone: tzinfo) -> str:
    """The sentence on what happened; empty where the title says as much."""
    by, note = clean(event.by), clean(event.note).rstrip(".")
    match event.transition:
        case Transition.RAISED:
            return f"{note[0].upper()}{note[1:]}." if note else ""
        case Transition.URGENCY_CHANGED:
            return f"You may have heard of this before: it is now for {_FOR[event.urgency]}."
        case Transition.RETURNED:
            return _returned(event, zone)
        case Transition.SUPPRESSED:
            return f"Held back, as a wider alarm explains it{f': {note}' if note else ''}."
    if not by and not note:
        return ""
    who = f" by {by}" if by else ""
    return f"{_LABELS[event.transition]}{who}{f': {note}' if note else ''}."


def _returned(event: AlarmEvent, zone: tzinfo) -> str:
    why = unjudged(event)
    so = f"is not judged for now: {why}" if why else BACK[event.kind]
    first = f"{capital(name(event))}{place(event, zone)} {so}."
    lasted = how_long(event, zone)
    return f"{first} What was told of it had lasted {lasted}." if lasted else first


def how_long(event: AlarmEvent, zone: tzinfo) -> str:
    """How long what it told of lasted and since when, which may be before it was raised; empty
    if unknown."""
    since_s = event.facts.since_s
    if since_s is None or since_s > event.at_s:
        return ""
    return f"{duration(event.at_s - since_s)}, {since(event, since_s, zone)}"
