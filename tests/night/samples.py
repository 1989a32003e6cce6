"""A night as data: readings of the invented room, and by hand what the judge would say of it.

So the golden texts change with the review's words and not with the judge's thresholds.
"""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from typing import Any

from demo.folder import bag_rows, probe_rows
from demo.live import LiveRoom, bag_name
from demo.rooms import DAY_S, HOUR_S
from monitor.review.gather import Gathering, nights_before
from monitor.review.night_nouns import NightData
from monitor.review.nights import Window
from monitor.road import Plan
from monitor.values import (
    AlarmEvent,
    AlarmKind,
    Bag,
    Estimate,
    Evidence,
    Facts,
    Probe,
    Quantity,
    Reason,
    Transition,
    Urgency,
)
from tests.night.room import EVENING_S, NIGHT_S, STUCK_S, ZONE, room

WINDOW = Window(EVENING_S, NIGHT_S)
WORRYING = bag_name(2)


def plan() -> Plan:
    """The room's bags and probes."""
    drawn = room()
    bags, probes = {}, {}
    for number, row in enumerate(bag_rows(drawn)):
        name, batch, strain, lot, _, mass, rack, shelf, slot, probe = row
        bags[name] = Bag(
            name, batch, strain, lot, drawn.session_s[number], float(mass), rack, shelf, slot, probe
        )
    for name, place, rack, shelf in probe_rows(drawn):
        bag = "" if place == "air" else place.removeprefix("bag:")
        probes[name] = Probe(name, bag, rack, shelf)
    return Plan(bags, probes)


def night_data() -> NightData:
    """The night that goes wrong, with three nights before it to compare with."""
    book = plan()
    night = Gathering(WINDOW, book)
    before = [Gathering(one, book, 0.0) for one in nights_before(WINDOW, ZONE)]
    for said in LiveRoom(room(), keep_truth=False).advance(NIGHT_S):
        if said.probe.startswith("p") and said.time_s % 600.0:
            continue
        for gathering in (night, *before):
            gathering.take(said.probe, Quantity(said.quantity), said.value, said.time_s, ())
    hours = [EVENING_S + hour * HOUR_S for hour in range(13)]
    earlier = [EVENING_S - 6 * HOUR_S * step for step in range(8, 0, -1)]
    return NightData(
        window=WINDOW,
        band_c=(18.0, 25.0),
        bags=book.bags,
        probes=book.probes,
        air_c=night.air_c(),
        humidity=night.humidity(),
        surface_c=night.surface_c(),
        heard=night.heard(),
        estimates=tuple(judged(bag, at_s) for at_s in hours for bag in book.bags.values()),
        earlier=tuple(judged(bag, at_s) for at_s in earlier for bag in book.bags.values()),
        events=events(),
        peak_h={"GO-12": 120.0, "AM-3": 60.0},
        before=tuple(level for one in before if (level := one.level()) is not None),
        handled={bag_name(7): "shaken"},
    )


def judged(bag: Bag, at_s: float) -> tuple[Estimate, Evidence]:
    """A grey oyster still warming, a golden one past a peak at 48 h; one bag drifts off."""
    age_h = (at_s - bag.inoculated_s) / HOUR_S
    peak_h, rise_h, top = (110.0, 20.0, 0.9) if bag.strain == "GO-12" else (48.0, 9.0, 1.5)
    share = 1.0 / (1.0 + math.exp(-(age_h - peak_h) / rise_h))
    heat = top * 4.0 * share * (1.0 - share)
    off_k = 0.1 * (bag.slot or 0) - 0.5
    if bag.bag == WORRYING:
        off_k += 0.1 * max(0.0, (at_s - EVENING_S) / HOUR_S)
    estimate = Estimate(
        bag.bag, at_s, 20.0 + heat + off_k, 20.0, heat + off_k, heat_w_per_kg=round(heat, 4)
    )
    hot = 4.2 if bag.bag == WORRYING else -0.4
    evidence = Evidence(
        bag=bag.bag,
        cohort=bag.cohort,
        at_s=at_s,
        hot=hot,
        stalled=-1.0,
        hot_needed=7.3,
        stalled_needed=6.9,
        peers=4,
        excess_k=round(off_k, 3),
        reason=Reason.LIKE_ITS_COHORT,
    )
    return estimate, evidence


def event(
    number: int,
    at_s: float,
    kind: AlarmKind,
    subject: str,
    transition: Transition,
    urgency: Urgency,
    reason: Reason,
    facts: Facts,
    by: str = "",
) -> AlarmEvent:
    return AlarmEvent(
        event_id=f"{number}-{transition}",
        alarm_id=f"alarm-{number}",
        at_s=at_s,
        kind=kind,
        subject=subject,
        transition=transition,
        urgency=urgency,
        reason=reason,
        facts=facts,
        by=by,
    )


def events() -> tuple[AlarmEvent, ...]:
    """The room warms, somebody answers, it is over; a probe falls silent and nobody has come."""
    begun_s = STUCK_S + 3000.0
    warm = Facts(air_c=23.1, since_s=begun_s, low_c=18.0, high_c=25.0, affected=10)
    dead = Facts(probe="p005", bag="B005", silent_for_s=3000.0)
    room_parts = (AlarmKind.ROOM, "room")
    now = Urgency.NOW
    probe = (AlarmKind.PROBE, "p005", Transition.RAISED, Urgency.TODAY, Reason.PROBE_SILENT, dead)
    lost = Reason.NO_COOLING
    return (
        event(1, begun_s + 1200.0, *room_parts, Transition.RAISED, now, lost, warm),
        event(1, begun_s + 2700.0, *room_parts, Transition.ACKNOWLEDGED, now, lost, warm, "owner"),
        event(1, EVENING_S + 9.33 * HOUR_S, *room_parts, Transition.RETURNED, now, lost, warm),
        event(2, EVENING_S + 8.83 * HOUR_S, *probe),
    )


def moved(value: Any, by_s: float) -> Any:
    """The same record with every time in it moved: whatever is over 1e9 is seconds since 1970."""
    if isinstance(value, float):
        return value + by_s if value > 1e9 else value
    if isinstance(value, tuple):
        return tuple(moved(one, by_s) for one in value)
    if isinstance(value, dict):
        return {key: moved(one, by_s) for key, one in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return replace(
            value, **{part.name: moved(getattr(value, part.name), by_s) for part in fields(value)}
        )
    return value


def in_summer_time(data: NightData) -> NightData:
    """The same night on 28 March 2026, when Europe/London sets its clocks forward."""
    later = moved(data, 24 * DAY_S)
    window = Window(later.window.start_s, later.window.end_s - HOUR_S)
    return replace(later, window=window)
