"""A room at a glance, in a few words for a row of a table or a card."""

from __future__ import annotations

from datetime import tzinfo

from monitor.farm.standing import CLOCK_APART_S, Hearing, RoomStanding
from monitor.room_summary import RoomAir
from monitor.terms import Urgency
from monitor.words import difference, duration, moment, temperature
from monitor.words.naming import clean, listing

_ALARMS_SHOWN = 3


def heard_words(room: RoomStanding, zone: tzinfo, now_s: float) -> str:
    """How fresh what is shown is, or why it is not."""
    since = "" if room.heard_s is None else moment(room.heard_s, zone, now_s)
    match room.hearing:
        case Hearing.HEARD:
            return f"{duration(room.age_s or 0.0)} ago"
        case Hearing.SILENT:
            return f"not heard since {since}"
        case Hearing.GONE:
            return f"nobody watches it; last heard {since}" if since else "nobody watches it"
        case Hearing.NO_WORD:
            return "no word yet"
        case Hearing.NOT_UNDERSTOOD:
            reason = f"{room.refused.reason}: {room.refused.detail}" if room.refused else ""
            last = f"; last understood {since}" if since else ""
            return f"its message is not understood, {clean(reason)}{last}"


def air_words(air: RoomAir, units: str) -> str:
    """The air, and where it is outside its band."""
    if air.mean_c is None:
        return "not heard"
    told = temperature(air.mean_c, units)
    low_c, high_c = air.band_low_c, air.band_high_c
    if low_c is not None and air.mean_c < low_c:
        return f"{told}, under its {temperature(low_c, units)}"
    if high_c is not None and air.mean_c > high_c:
        return f"{told}, over its {temperature(high_c, units)}"
    if low_c is not None and air.low_c is not None and air.low_c < low_c:
        return f"{told}, in places {difference(low_c - air.low_c, units)} under its band"
    if high_c is not None and air.high_c is not None and air.high_c > high_c:
        return f"{told}, in places {difference(air.high_c - high_c, units)} over its band"
    return told


def alarm_counts(room: RoomStanding) -> dict[Urgency, str]:
    """Unanswered alarms by urgency; a plus where more stand than the room could tell."""
    if room.summary is None:
        return dict.fromkeys(Urgency, "?")
    more = "+" if room.summary.alarms_left_out else ""
    counts = {Urgency.NOW: room.open_now, Urgency.TODAY: room.open_today}
    return {one: f"{counts.get(one, room.open_later)}" + more for one in Urgency}


def bag_words(room: RoomStanding) -> str:
    """How many bags, and how many of them had no reading."""
    if room.summary is None:
        return "?"
    bags = room.summary.bags
    return f"{bags.total}" + (f", {bags.unheard} unheard" if bags.unheard else "")


def monitor_troubles(room: RoomStanding) -> list[str]:
    """What is wrong with its monitor; empty where nothing is."""
    told = []
    if len(room.claimants) > 1:
        hosts = listing([one.host or "unknown" for one in room.claimants])
        told.append(f"two monitors claim this name ({hosts}): give one room another name")
    if room.clock_ahead_s is not None and abs(room.clock_ahead_s) > CLOCK_APART_S:
        way = "ahead of" if room.clock_ahead_s > 0 else "behind"
        told.append(f"its clock is {duration(abs(room.clock_ahead_s))} {way} ours")
    if room.summary is not None:
        monitor = room.summary.monitor
        if monitor.problem:
            told.append(clean(monitor.problem))
        if monitor.silent_sources:
            told.append(f"silent: {listing(monitor.silent_sources)}")
        if monitor.undelivered:
            noun = "message waits" if monitor.undelivered == 1 else "messages wait"
            told.append(f"{monitor.undelivered} {noun} to be delivered")
    return told


def alarm_lines(room: RoomStanding, zone: tzinfo, now_s: float) -> tuple[list[str], int]:
    """The gravest unanswered alarms, a line each, and how many more stand unanswered."""
    if room.summary is None:
        return [], 0
    unanswered = [one for one in room.summary.alarms if not one.answered]
    unanswered.sort(key=lambda one: (-one.urgency.rank, one.since_s))
    lines = [
        f"{one.urgency}: {clean(one.subject)}, {one.kind}, {one.reason},"
        f" since {moment(one.since_s, zone, now_s)}"
        for one in unanswered[:_ALARMS_SHOWN]
    ]
    return lines, len(unanswered) - len(lines) + room.summary.alarms_left_out
