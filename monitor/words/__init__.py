"""An alarm in words a grower can act on; pure, and it reads well with any fact missing.

`sentences` makes title and body of a message, `one_line` the row of a table or a log.
A message says what was found and what to look at, never why: the person who looks judges.
"""

from __future__ import annotations

from datetime import tzinfo

from monitor.values import AlarmEvent, AlarmKind, Transition, Urgency
from monitor.words.findings import certainty, figure, levels, remark, timing
from monitor.words.life import happened, heading, how_long, label, unjudged
from monitor.words.naming import capital, look_also, name, place
from monitor.words.quantities import (
    a_degree_or_two,
    difference,
    duration,
    moment,
    temperature,
)
from monitor.words.sayings import SAYINGS, UNFORESEEN, UNFORESEEN_BAG, Caution, Saying

__all__ = ["difference", "duration", "moment", "one_line", "sentences", "temperature"]

MOST_TITLE = 70

_GO = {
    Urgency.NOW: "Go in now and",
    Urgency.TODAY: "On the next walk,",
    Urgency.LATER: "When you next pass,",
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
    body = [happened(event, zone)]
    if event.transition is not Transition.RETURNED:
        body.append(_found(event, units, zone))
    if event.transition in _CALLS:
        saying = _saying(event)
        body.append(look_also(event.facts))
        body.append(saying.do.format(go=_GO[event.urgency], a_little=a_degree_or_two(units)))
        body.append(_caution(event, saying).value)
    return _title(event, units), "\n".join(part for part in body if part)


def one_line(event: AlarmEvent, units: str, zone: tzinfo) -> str:
    """The whole finding in one line without its urgency, for `alarms.csv` and the log."""
    claim = f"{name(event)}{_claim(event)}"
    claim = f"{label(event)}: {claim}" if label(event) else capital(claim)
    if event.transition is Transition.RETURNED:
        why, lasted = unjudged(event), how_long(event, zone)
        ended = (claim, f"as {why}" if why else "", f"after {lasted}" if lasted else "")
        return ", ".join(part for part in ended if part)
    found = (*levels(event, units), *timing(event, units, zone), certainty(event))
    told = ", ".join(part for part in found if part)
    return f"{claim}: {told}" if told else claim


def _saying(event: AlarmEvent) -> Saying:
    known = SAYINGS.get((event.kind, event.reason))
    return known or UNFORESEEN.get(event.kind, UNFORESEEN_BAG)


def _claim(event: AlarmEvent) -> str:
    """What is said of the subject, with a leading space; nothing once it is no longer so."""
    if event.transition is Transition.RETURNED:
        return ""
    return f" {_saying(event).claim.format(reason=event.reason.value)}"


def _title(event: AlarmEvent, units: str) -> str:
    """Begins with what happened or when to act, ends with the telling number if it fits.

    A long subject is shortened before its claim; the body has it in full.
    """
    begin, subject, claim = heading(event), name(event), _claim(event)
    left = MOST_TITLE - len(begin) - 2
    if len(subject) + len(claim) > left:
        kept = max(left - len(claim) - 1, 12)
        subject = f"{subject[:kept].rstrip()}…" if len(subject) > kept else subject
    told = subject + claim
    if len(told) > left:
        told = f"{told[: left - 1].rstrip()}…"
    number = figure(event, units) if claim else ""
    if number and len(told) + len(number) + 3 <= left:
        told = f"{told} ({number})"
    return f"{begin}: {told}"


def _found(event: AlarmEvent, units: str, zone: tzinfo) -> str:
    """A few sentences: what is so and where, since when, how sure, a remark."""
    numbers = ", ".join(levels(event, units))
    what = f"{name(event)}{place(event, zone)}{_claim(event)}" + (f": {numbers}" if numbers else "")
    when = ", ".join(timing(event, units, zone))
    parts = (what, when, certainty(event), remark(event, units))
    return " ".join(f"{capital(part)}." for part in parts if part)


def _caution(event: AlarmEvent, saying: Saying) -> Caution:
    on_air = event.kind is AlarmKind.PROBE and not event.facts.bag
    return Caution.WET if on_air and saying.caution is Caution.FILM else saying.caution
