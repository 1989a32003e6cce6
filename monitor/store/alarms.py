"""Alarm events as they happened, and what stands: an alarm's state is the sum of its events."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from monitor.store.codec import from_text, to_text
from monitor.store.readings import clean_text
from monitor.store.records import StandingAlarm
from monitor.values import AlarmEvent, AlarmKind, Facts, Reason, Transition, Urgency

_COLUMNS = (
    "event_id, alarm_id, at_s, kind, subject, transition, urgency, reason, facts,"
    " first_in, by, note, announced"
)


def add(connection: sqlite3.Connection, events: Iterable[AlarmEvent]) -> int:
    """Write events; one whose id is there already stays as it is. Returns how many are new."""
    before = connection.total_changes
    connection.executemany(
        f"INSERT INTO events ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (event_id) DO NOTHING",
        (
            (
                event.event_id,
                event.alarm_id,
                event.at_s,
                event.kind.value,
                clean_text(event.subject),
                event.transition.value,
                event.urgency.value,
                event.reason.value,
                to_text(event.facts),
                event.first_in,
                clean_text(event.by),
                clean_text(event.note),
                event.announced,
            )
            for event in events
        ),
    )
    return connection.total_changes - before


def since(
    connection: sqlite3.Connection, at_s: float, limit: int, until_s: float
) -> list[AlarmEvent]:
    """Events from a moment until another, oldest first; of too many the newest."""
    rows = connection.execute(
        f"SELECT * FROM (SELECT id, {_COLUMNS} FROM events WHERE at_s BETWEEN ? AND ?"
        " ORDER BY id DESC LIMIT ?) ORDER BY id",
        (at_s, until_s, limit),
    ).fetchall()
    return [_event(row[1:]) for row in rows]


def history(connection: sqlite3.Connection, alarm_id: str) -> list[AlarmEvent]:
    """Every event of one alarm, oldest first; empty where there is no such alarm."""
    rows = connection.execute(
        f"SELECT {_COLUMNS} FROM events WHERE alarm_id = ? ORDER BY id", (alarm_id,)
    ).fetchall()
    return [_event(row) for row in rows]


def standing(connection: sqlite3.Connection) -> list[StandingAlarm]:
    """Alarms that have not returned to normal, most urgent first, then oldest first."""
    rows = connection.execute(
        f"SELECT {_COLUMNS} FROM events WHERE alarm_id IN (SELECT alarm_id FROM standing)"
        " ORDER BY alarm_id, id"
    ).fetchall()
    by_alarm = groupby(map(_event, rows), key=lambda event: event.alarm_id)
    found = [_fold(tuple(events)) for _, events in by_alarm]
    return sorted(found, key=lambda one: (-one.latest.urgency.rank, one.raised.at_s))


def _fold(events: Sequence[AlarmEvent]) -> StandingAlarm:
    alarm = StandingAlarm(events[0], events[0])
    for event in events:
        alarm = replace(alarm, latest=event)
        match event.transition:
            case Transition.RAISED:
                alarm = replace(alarm, raised=event, acknowledged_by="", acknowledged_s=None)
            case Transition.ACKNOWLEDGED:
                alarm = replace(alarm, acknowledged_by=event.by, acknowledged_s=event.at_s)
            case Transition.SHELVED | Transition.UNSHELVED:
                alarm = replace(alarm, shelved=event.transition is Transition.SHELVED)
            case Transition.SUPPRESSED | Transition.UNSUPPRESSED:
                alarm = replace(alarm, suppressed=event.transition is Transition.SUPPRESSED)
            case Transition.OUT_OF_SERVICE | Transition.IN_SERVICE:
                out = event.transition is Transition.OUT_OF_SERVICE
                alarm = replace(alarm, out_of_service=out)
    return alarm


def _event(row: Sequence[Any]) -> AlarmEvent:
    event_id, alarm_id, at_s, kind, subject, transition, urgency, reason, facts, *rest = row
    first_in, by, note, announced = rest
    return AlarmEvent(
        event_id=event_id,
        alarm_id=alarm_id,
        at_s=at_s,
        kind=AlarmKind(kind),
        subject=subject,
        transition=Transition(transition),
        urgency=Urgency(urgency),
        reason=Reason(reason),
        facts=from_text(Facts, facts),
        first_in=bool(first_in),
        by=by,
        note=note,
        announced=bool(announced),
    )
