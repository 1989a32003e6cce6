"""When a reading was taken: a trusted time of the device's own, else when it came, else unknown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from monitor.sources.numbers import UnreadableError, number_in_json, shown
from monitor.sources.source import Packet
from monitor.values import Flag, Refusal

TimeFormat = Literal["epoch s", "epoch ms", "iso 8601"]

#: A device that has not learned the time counts from 1970 or from its firmware's build; no
#: reading is older than this program (2020-01-01 UTC).
EARLIEST_S = 1_577_836_800.0
#: Trusted within five minutes ahead of our own clock.
FUTURE_TOLERANCE_S = 300.0

_NOT_FRESH = (Flag.RETAINED, Flag.TIME_UNKNOWN)


@dataclass(frozen=True, slots=True)
class Stamp:
    """A measured time [s since 1970], None where unknown, with what is known against it."""

    measured_s: float | None
    marks: tuple[Flag, ...]


def unstated(packet: Packet) -> Stamp:
    """The stamp of a reading that tells no time: taken when it came, unless it came late."""
    if any(mark in _NOT_FRESH for mark in packet.marks):
        return Stamp(None, packet.marks)
    return Stamp(packet.received_s, packet.marks)


def stated(packet: Packet, time_s: float) -> Stamp:
    """The stamp of a reading that tells its time [s since 1970].

    A trusted time makes a retained or delayed message as good as a fresh one. Before our own
    clock is set nothing can be called future.
    """
    if time_s < EARLIEST_S:
        return unknown(packet)
    if time_s > packet.received_s + FUTURE_TOLERANCE_S and Flag.CLOCK_UNSET not in packet.marks:
        return Stamp(None, (*packet.marks, Flag.FUTURE))
    return Stamp(time_s, tuple(mark for mark in packet.marks if mark not in _NOT_FRESH))


def unknown(packet: Packet) -> Stamp:
    """The stamp of a reading whose time can't be told."""
    if Flag.TIME_UNKNOWN in packet.marks:
        return Stamp(None, packet.marks)
    return Stamp(None, (*packet.marks, Flag.TIME_UNKNOWN))


def read_time(value: object, time_format: TimeFormat) -> float:
    """Seconds since 1970 from a device's own time; raises UnreadableError (bad time).

    ISO 8601 needs its offset or Z: local time without one is wrong twice a year.
    """
    if time_format == "iso 8601":
        return _read_iso(value)
    try:
        number = number_in_json(value)
    except UnreadableError as error:
        raise UnreadableError(Refusal.BAD_TIME, error.detail) from None
    return number / 1000.0 if time_format == "epoch ms" else number


def _read_iso(value: object) -> float:
    if not isinstance(value, str):
        raise UnreadableError(Refusal.BAD_TIME, f"{shown(value)} is not ISO 8601")
    try:
        moment = datetime.fromisoformat(value.strip())
        if moment.tzinfo is None:
            raise UnreadableError(Refusal.BAD_TIME, f"{shown(value)} has no offset")
        return moment.timestamp()
    except (ValueError, OverflowError):
        raise UnreadableError(Refusal.BAD_TIME, f"{shown(value)} is not ISO 8601") from None
