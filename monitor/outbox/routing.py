"""Who is told of an alarm event, when, and how often it is tried. Pure: time is handed in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from enum import StrEnum
from typing import TYPE_CHECKING

from monitor.store import OutboxRow
from monitor.store.deliveries import LONGEST_BACK_OFF_S, is_due
from monitor.values import AlarmEvent, Delivery, Message, Transition, Urgency

if TYPE_CHECKING:
    from monitor.settings.schema import QuietSettings, RecipientSettings

FIRST_BACK_OFF_S = 30.0
GIVE_UP_S = 24 * 3600.0
LEAST_ATTEMPTS = 10
#: Many services cut or refuse a longer text.
LONGEST_BUNDLE = 3000

#: What a grower hears of. What people did to an alarm themselves is on the page.
_TOLD = frozenset(
    {
        Transition.RAISED,
        Transition.URGENCY_CHANGED,
        Transition.RETURNED,
        Transition.UNSHELVED,
        Transition.UNSUPPRESSED,
    }
)


#: Whether a moment lies in somebody's quiet hours, by their name.
Quiet = Callable[[str, float], bool]


class SendAt(StrEnum):
    """When a message goes out."""

    NOW = "now"
    AFTER_QUIET = "after quiet"
    MORNING = "morning"


@dataclass(frozen=True, slots=True)
class Routing:
    """Whether a person is told of an event, when, and why so."""

    send: bool
    at: SendAt
    reason: str


def route(event: AlarmEvent, recipient: RecipientSettings, minute_of_day: int) -> Routing:
    """Decide for one person. `minute_of_day` is local, 0 to 1439.

    Quiet hours hold everything but urgency `now`, and hold even that when it is good news.
    """
    urgency = event.urgency
    unwanted = _unwanted(event, recipient)
    if unwanted:
        return Routing(False, SendAt.NOW, unwanted)
    if urgency is Urgency.LATER:
        return Routing(True, SendAt.MORNING, "later waits for the morning message")
    if recipient.quiet is None or not in_quiet(recipient.quiet, minute_of_day):
        return Routing(True, SendAt.NOW, f"{urgency} is sent at once")
    if urgency is Urgency.NOW and event.transition is not Transition.RETURNED:
        return Routing(True, SendAt.NOW, "now breaks quiet hours")
    return Routing(True, SendAt.AFTER_QUIET, "held by quiet hours")


def _unwanted(event: AlarmEvent, recipient: RecipientSettings) -> str:
    if event.transition not in _TOLD:
        return f"{event.transition} is not told"
    if event.transition is Transition.URGENCY_CHANGED and event.urgency is not Urgency.NOW:
        return "less urgent than before is not told"
    if not event.announced:
        return "held back from its start: nobody was told of it"
    if recipient.kinds and event.kind not in recipient.kinds:
        return f"{event.kind} is not among this person's kinds"
    if event.urgency.rank < recipient.least_urgency.rank:
        return f"{event.urgency} is below {recipient.least_urgency}"
    return ""


def in_quiet(quiet: QuietSettings, minute_of_day: int) -> bool:
    """Whether a minute lies in [from, until), which may pass midnight."""
    start, end = quiet.from_minute, quiet.until_minute
    if start <= end:
        return start <= minute_of_day < end
    return minute_of_day >= start or minute_of_day < end


def quiet_hours(recipients: Iterable[RecipientSettings], zone: tzinfo) -> Quiet:
    """Whether a moment lies in the quiet hours of a person of that name."""
    hours = {one.name: one.quiet for one in recipients}

    def quiet(name: str, now_s: float) -> bool:
        found = hours.get(name)
        return found is not None and in_quiet(found, minute_of_day(now_s, zone))

    return quiet


def minute_of_day(now_s: float, zone: tzinfo) -> int:
    """The local minute since midnight, 0 to 1439."""
    local = datetime.fromtimestamp(now_s, zone)
    return local.hour * 60 + local.minute


def send_at_s(at: SendAt, recipient: RecipientSettings, now_s: float, zone: tzinfo) -> float:
    """The moment a routing means, by the clock on the wall (also over a change of DST)."""
    if at is SendAt.MORNING:
        return _next_s(recipient.morning_minute, now_s, zone)
    if at is SendAt.AFTER_QUIET and recipient.quiet is not None:
        return _next_s(recipient.quiet.until_minute, now_s, zone)
    return now_s


def deliveries(
    event: AlarmEvent,
    recipients: Iterable[RecipientSettings],
    now_s: float,
    zone: tzinfo,
    compose: Callable[[RecipientSettings], tuple[str, str]],
) -> tuple[Delivery, ...]:
    """The messages of one event, ready for the store.

    `compose` gives title and body in a person's own units. The id of a message follows from
    event and person alone, so that a run done again makes no second one.
    """
    made = []
    for recipient in recipients:
        routing = route(event, recipient, minute_of_day(now_s, zone))
        if not routing.send:
            continue
        title, body = compose(recipient)
        due_s = send_at_s(routing.at, recipient, now_s, zone)
        message = Message(
            message_id=f"{event.event_id}:{recipient.name}",
            recipient=recipient.name,
            title=title,
            body=body,
            urgency=event.urgency,
            created_s=now_s,
        )
        made.append(Delivery(message, 0, due_s, "waiting", routing.reason))
    return tuple(made)


def back_off_s(attempts: int) -> float:
    """How long to wait after the n-th failed attempt: 30 s, doubling, at most 30 min."""
    doublings = min(max(attempts - 1, 0), 16)
    return min(FIRST_BACK_OFF_S * 2.0**doublings, LONGEST_BACK_OFF_S)


def expired(row: OutboxRow, now_s: float) -> bool:
    """Whether a message is too old to be tried again.

    That is at its own `expires_s`, else 24 h after it was first due and tried often enough: a
    clock that jumps ahead when the network comes up must not end what just became sendable.
    """
    if row.delivery.message.expires_s is not None:
        return now_s >= row.delivery.message.expires_s
    return now_s >= row.due_s + GIVE_UP_S and row.delivery.attempts >= LEAST_ATTEMPTS


def due(
    rows: Sequence[OutboxRow], now_s: float, resting_until_s: float = 0.0, quiet: bool = False
) -> tuple[OutboxRow, ...]:
    """The rows of one person to send next, together; empty when none may go.

    `rows` are in the order to try. A person whose channel failed rests, save for the first
    try of an urgent message; in `quiet` hours only urgent ones go. Rows held for the morning go
    as one bundle; a bundle once tied stays together.
    """
    ready = [row for row in rows if is_due(row, now_s) and not expired(row, now_s)]
    if now_s < resting_until_s <= now_s + LONGEST_BACK_OFF_S:
        ready = [row for row in ready if _urgent(row) and not row.delivery.attempts]
    if quiet:
        ready = [row for row in ready if _urgent(row)]
    if not ready:
        return ()
    first = ready[0]
    if first.bundle:
        return tuple(row for row in rows if row.bundle == first.bundle)
    if _held(first):
        return tuple(row for row in ready if _held(row) and not row.bundle)
    return (first,)


def bundled(rows: Sequence[OutboxRow]) -> Message:
    """One message out of a person's rows, under the id of their bundle.

    All titles and bodies, or only titles where that would be too long for most services.
    """
    messages = [row.delivery.message for row in rows]
    if len(messages) == 1:
        return messages[0]
    body = "\n\n".join(f"{one.title}\n{one.body}" for one in messages)
    if len(body) > LONGEST_BUNDLE:
        body = "\n".join(f"- {one.title}" for one in messages)
    if len(body) > LONGEST_BUNDLE:
        body = body[: LONGEST_BUNDLE - 40].rsplit("\n", 1)[0] + "\n- and more: see the page"
    return replace(
        messages[0],
        message_id=rows[0].bundle or messages[0].message_id,
        title=f"{len(messages)} notes: {messages[0].title}, …",
        body=body,
        urgency=max((one.urgency for one in messages), key=lambda urgency: urgency.rank),
    )


def _urgent(row: OutboxRow) -> bool:
    return row.delivery.message.urgency is Urgency.NOW


def _held(row: OutboxRow) -> bool:
    """Whether it waited for its hour, to go with the others; a picture always goes alone."""
    if row.delivery.message.attachment:
        return False
    return row.due_s > row.delivery.message.created_s and not row.delivery.attempts


def _next_s(minute: int, now_s: float, zone: tzinfo) -> float:
    now = datetime.fromtimestamp(now_s, zone)
    # in the hour that comes twice it stays in the one it is in: the other has passed or will
    moment = now.replace(hour=minute // 60, minute=minute % 60, second=0, microsecond=0)
    if moment.timestamp() <= now_s:
        moment += timedelta(days=1)
    return moment.timestamp()
