"""Small makers of nouns for the store's tests."""

from __future__ import annotations

from monitor.store import Arrival
from monitor.values import (
    AlarmEvent,
    AlarmKind,
    Bag,
    Decoded,
    Delivery,
    Facts,
    Message,
    Quantity,
    Reading,
    Reason,
    Refused,
    Transition,
    Urgency,
)


def reading(value: float = 24.5, at_s: float = 1000.0, probe: str = "t1") -> Reading:
    return Reading(
        probe, Quantity.TEMPERATURE, value, at_s, at_s, source="barn", raw=value, raw_unit="Cel"
    )


def arrival(
    *readings: Reading,
    dedup: str = "",
    refused: tuple[Refused, ...] = (),
    boot_id: str = "boot-a",
    synced: bool = True,
) -> Arrival:
    received_s = readings[0].received_s if readings else 1000.0
    return Arrival(
        "barn", dedup, received_s, 5.0, boot_id, synced, Decoded(tuple(readings), refused)
    )


def event(
    number: int = 1,
    transition: Transition = Transition.RAISED,
    alarm_id: str = "a1",
    urgency: Urgency = Urgency.TODAY,
    kind: AlarmKind = AlarmKind.HOT_BAG,
) -> AlarmEvent:
    return AlarmEvent(
        event_id=f"{alarm_id}-{number}",
        alarm_id=alarm_id,
        at_s=1000.0 + number,
        kind=kind,
        subject="B-07",
        transition=transition,
        urgency=urgency,
        reason=Reason.ADDED_HEAT,
        facts=Facts(bag="B-07", excess_k=1.7, next_slot=("B-06", "B-08")),
        by="Mara" if transition is Transition.ACKNOWLEDGED else "",
    )


def delivery(
    number: int = 1,
    recipient: str = "Mara",
    *,
    urgency: Urgency = Urgency.TODAY,
    created_s: float = 1000.0,
    due_s: float | None = None,
    expires_s: float | None = None,
) -> Delivery:
    message = Message(
        f"m{number}:{recipient}", recipient, f"Bag B-{number:02d} is warm", "Go and look.",
        urgency, created_s, expires_s,
    )  # fmt: skip
    return Delivery(message, 0, created_s if due_s is None else due_s, "waiting")


def bag(name: str = "B-07", rack: str = "R1") -> Bag:
    return Bag(name, "batch 3", "GO-12", "lot 9", 0.0, 2.5, rack, 2, 4, extra={"grain": "rye"})
