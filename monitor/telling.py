"""Alarm events as messages to people and as lines in the daemon's log."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING

from monitor.outbox import deliveries
from monitor.settings.schema import RecipientSettings, Settings
from monitor.values import AlarmEvent, AlarmKind, Delivery, Facts, Reason, Transition, Urgency
from monitor.words import difference, one_line, sentences, temperature
from monitor.words.quantities import counted

if TYPE_CHECKING:  # numpy comes with it, and a list of alarms needs none
    from monitor.road import Outcome


def compose(
    event: AlarmEvent, settings: Settings, zone: tzinfo
) -> Callable[[RecipientSettings], tuple[str, str]]:
    """Title and body of an event in each person's own degrees."""

    def words_for(recipient: RecipientSettings) -> tuple[str, str]:
        return sentences(event, recipient.units or settings.room.units, zone)

    return words_for


def messages(
    events: Iterable[AlarmEvent], settings: Settings, now_s: float, zone: tzinfo
) -> list[Delivery]:
    """The messages of events, ready for the outbox."""
    return [
        delivery
        for event in events
        for delivery in deliveries(
            event, settings.recipients, now_s, zone, compose(event, settings, zone)
        )
    ]


def clock_behind(
    settings: Settings, now_s: float, last_end_s: float, zone: tzinfo
) -> list[Delivery]:
    """The messages that nothing is judged as the clock is behind: no close can tell it.

    It is no event of the road, and once for each frame that the clock is behind.
    """
    says, ended = (datetime.fromtimestamp(at_s, zone) for at_s in (now_s, last_end_s))
    detail = f"it says {says:%Y-%m-%d %H:%M}, and a frame ending {ended:%Y-%m-%d %H:%M} was closed"
    name = f"clock-behind-{last_end_s:.0f}"
    event = AlarmEvent(
        name, name, now_s, AlarmKind.HOUSE, "clock", Transition.RAISED, Urgency.NOW,
        Reason.CLOCK_BEHIND, Facts(detail=f"{detail} before"),
    )  # fmt: skip
    return messages((event,), settings, now_s, zone)


def local_stamp(at_s: float, zone: tzinfo) -> str:
    """Weekday, day and minute in the room's own time."""
    return datetime.fromtimestamp(at_s, zone).strftime("%a %Y-%m-%d %H:%M")


def event_line(event: AlarmEvent, units: str, zone: tzinfo) -> str:
    """One line of the log for one event; what is over is nothing to shout."""
    shouts = event.urgency == "now" and event.transition is not Transition.RETURNED
    urgency = event.urgency.upper() if shouts else event.urgency
    return f"{local_stamp(event.at_s, zone)}  {urgency}: {one_line(event, units, zone)}"


def standing_line(end_s: float, outcome: Outcome, units: str, zone: tzinfo) -> str:
    """How the room stands: the air, the bags heard, the warmest beyond its cohort."""
    frame = outcome.frame
    parts = []
    if frame.air_c:
        levels = [mean.mean for mean in frame.air_c.values()]
        air = f"{temperature(min(levels), units)} to {temperature(max(levels), units)}"
        parts.append(f"air {air}")
    heard = len(frame.surface_c)
    parts.append(f"{counted(heard, 'bag', 'bags')} heard" if heard else "no bag heard")
    judged = [
        (evidence.excess_k, bag)
        for bag, (_, evidence) in outcome.verdicts.items()
        if evidence.excess_k is not None
    ]
    if judged:
        excess_k, bag = max(judged)
        parts.append(f"most over its cohort {bag} {difference(excess_k, units)}")
    return f"{local_stamp(end_s, zone)}  {', '.join(parts)}"
