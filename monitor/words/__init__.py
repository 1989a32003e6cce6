"""An alarm in words a grower can act on; pure, and it reads well with any fact missing.

`sentences` makes title and body of a message, `one_line` the row of a table or a log.
A message says what was found and what to look at, never why: the person who looks judges.
"""

from __future__ import annotations

from datetime import tzinfo

from monitor.values import AlarmEvent, AlarmKind, Transition, Urgency
from monitor.words.findings import certainty, levels, timing
from monitor.words.naming import BAG_KINDS, clean, look_also, name, place
from monitor.words.quantities import difference, duration, moment, temperature
from monitor.words.sayings import NOT_JUDGED, SAYINGS, UNFORESEEN, UNFORESEEN_BAG, Caution, Saying

__all__ = ["difference", "duration", "moment", "one_line", "sentences", "temperature"]

MOST_TITLE = 70

_WHEN = {Urgency.NOW: "Go in now", Urgency.TODAY: "Look today", Urgency.LATER: "For the morning"}
_WHEN_HOUSE = {Urgency.NOW: "Act now", Urgency.TODAY: "Today", Urgency.LATER: "For the morning"}
_GO = {
    Urgency.NOW: "Go in now and",
    Urgency.TODAY: "On the next walk,",
    Urgency.LATER: "When you next pass,",
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
#: Transitions after which the alarm asks for someone to act.
_CALLS = (
    Transition.RAISED,
    Transition.URGENCY_CHANGED,
    Transition.UNSHELVED,
    Transition.UNSUPPRESSED,
    Transition.IN_SERVICE,
)


def sentences(event: AlarmEvent, units: str, zone: tzinfo) -> tuple[str, str]:
    """Title (at most 70 characters) and body of a message.

    `units` is "C" or "F"; times are told as on the wall of `zone`. A body that calls someone
    to act ends with exactly one caution; the others have none.
    """
    body = [_happened(event, zone)]
    if event.transition is not Transition.RETURNED:
        body.append(_found(event, units, zone))
    if event.transition in _CALLS:
        saying = _saying(event)
        a_little = f"{difference(1.0, units)} to {difference(2.0, units)}"
        body.append(look_also(event.facts))
        body.append(saying.do.format(go=_GO[event.urgency], a_little=a_little))
        body.append(_caution(event, saying).value)
    return _title(event), "\n".join(part for part in body if part)


def one_line(event: AlarmEvent, units: str, zone: tzinfo) -> str:
    """The whole finding in one line without its urgency, for `alarms.csv` and the log."""
    label = _label(event)
    claim = f"{label}: {_claim(event)}" if label else _capital(_claim(event))
    if event.transition is Transition.RETURNED:
        return " ".join([f"{claim}.", _happened(event, zone)])
    found = [*levels(event, units), *timing(event, units, zone), certainty(event)]
    told = ", ".join(part for part in found if part)
    return f"{claim}: {told}" if told else claim


def _saying(event: AlarmEvent) -> Saying:
    known = SAYINGS.get((event.kind, event.reason))
    return known or UNFORESEEN.get(event.kind, UNFORESEEN_BAG)


def _claim(event: AlarmEvent) -> str:
    """The subject and what is said of it; only the subject once it is no longer so."""
    subject = name(event)
    if event.transition is Transition.RETURNED:
        return subject
    return f"{subject} {_saying(event).claim.format(reason=event.reason.value)}"


def _unjudged(event: AlarmEvent) -> str:
    """Why an alarm on bags ended without their warmth being normal; empty if it is."""
    on_bags = event.kind in BAG_KINDS or event.kind is AlarmKind.LOT_APART
    return NOT_JUDGED.get(event.reason, "") if on_bags else ""


def _label(event: AlarmEvent) -> str:
    if event.transition is Transition.RETURNED and _unjudged(event):
        return "Not judged for now"
    return _LABELS.get(event.transition, "")


def _title(event: AlarmEvent) -> str:
    label = _label(event)
    if not label:
        label = (_WHEN_HOUSE if event.kind is AlarmKind.HOUSE else _WHEN)[event.urgency]
    if event.transition is Transition.URGENCY_CHANGED:
        label = f"Changed to {label[0].lower()}{label[1:]}"
    claim = _claim(event)
    room = MOST_TITLE - len(label) - 2
    if len(claim) > room:  # the subject is named again, in full, in the body
        subject = name(event)
        rest = claim[len(subject) :]
        kept = max(room - len(rest) - 1, 12)
        claim = f"{subject[:kept].rstrip()}…{rest}"
        claim = claim if len(claim) <= room else f"{claim[: room - 1].rstrip()}…"
    return f"{label}: {claim}"


def _happened(event: AlarmEvent, zone: tzinfo) -> str:
    """What happened to the alarm, where that is more than its being raised."""
    by, note = clean(event.by), clean(event.note).rstrip(".")
    match event.transition:
        case Transition.RAISED:
            return "The first of several that came together." if event.first_in else ""
        case Transition.URGENCY_CHANGED:
            return f"The urgency is now `{event.urgency.value}`."
        case Transition.RETURNED:
            return _returned(event, zone)
        case Transition.SUPPRESSED:
            return f"Held back, as a wider alarm explains it{f': {note}' if note else ''}."
    who = f" by {by}" if by else ""
    return f"{_LABELS[event.transition]}{who}{f': {note}' if note else ''}."


def _returned(event: AlarmEvent, zone: tzinfo) -> str:
    why = _unjudged(event)
    subject = _capital(name(event))
    if why:
        first = f"{subject}{place(event, zone)} is not judged for now: {why}."
    elif event.kind in BAG_KINDS or event.kind is AlarmKind.LOT_APART:
        first = (
            f"{subject}{place(event, zone)} is back within what is usual for its warmth,"
            " which says nothing else of it."
        )
    else:
        first = f"{subject}{place(event, zone)} is back to normal."
    if event.facts.since_s is None or event.facts.since_s > event.at_s:
        return first
    since = moment(event.facts.since_s, zone, event.at_s)
    return f"{first} It stood for {duration(event.at_s - event.facts.since_s)}, since {since}."


def _found(event: AlarmEvent, units: str, zone: tzinfo) -> str:
    """Up to three sentences: what is so and where, since when, how sure."""
    subject = _capital(name(event)) + place(event, zone)
    claim = _claim(event)[len(name(event)) :]
    numbers = ", ".join(levels(event, units))
    told = [f"{subject}{claim}" + (f": {numbers}" if numbers else "")]
    told += [", ".join(timing(event, units, zone)), certainty(event)]
    return " ".join(f"{_capital(part)}." for part in told if part)


def _caution(event: AlarmEvent, saying: Saying) -> Caution:
    on_air = event.kind is AlarmKind.PROBE and not event.facts.bag
    return Caution.WET if on_air and saying.caution is Caution.FILM else saying.caution


def _capital(text: str) -> str:
    """A sentence's beginning; names of things keep their own case, as `bagwatt` does."""
    return text if text.startswith("bagwatt") else text[:1].upper() + text[1:]
