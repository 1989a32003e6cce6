"""The way out: who is told of an event and when (`routing`, pure), and the loop that sends."""

from monitor.outbox.routing import (
    Quiet,
    Routing,
    SendAt,
    back_off_s,
    deliveries,
    due,
    quiet_hours,
    route,
)
from monitor.outbox.sender import ChannelHealth, Sender

__all__ = [
    "ChannelHealth",
    "Quiet",
    "Routing",
    "SendAt",
    "Sender",
    "back_off_s",
    "deliveries",
    "due",
    "quiet_hours",
    "route",
]
