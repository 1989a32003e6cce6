"""What a clock that was ahead had closed, put by once it is set back.

The log then ends with the last frame that is not in the future, and what was read since: readings
that bear a stamp of the wrong time are marked, and get their true time where this boot took them.
A run rebuilt from this log is that of a room in which those frames were never closed.
"""

from __future__ import annotations

import sqlite3

from monitor.store import journal, readings
from monitor.store.deliveries import EXPIRED, WAITING
from monitor.store.records import Aside, LogKind
from monitor.values import Flag

#: A reading's stamp is of another clock when it lies this far off the one that holds now.
_OTHER_CLOCK_S = 60.0
#: A device's own time farther ahead than this came from the wrong clock as well.
_FUTURE_S = 300.0
_WHY = "void: the clock was ahead"

_MARKED = (
    f"marks = CASE WHEN marks = '' THEN '{Flag.CLOCK_AHEAD.value}'"
    f" ELSE marks || '|{Flag.CLOCK_AHEAD.value}' END"
)
_STAMPED_HERE = "(measured_s = received_s OR stamped_s = received_s)"
#: In order: the times of this boot are known by its monotonic clock; those of another are not.
_RESTAMP = (
    f"UPDATE readings SET measured_s = monotonic_s + :offset, {_MARKED} WHERE id > :reading"
    f" AND boot = :boot AND {_STAMPED_HERE}"
    f" AND ABS(received_s - monotonic_s - :offset) >= {_OTHER_CLOCK_S}",
    f"UPDATE readings SET measured_s = NULL, {_MARKED} WHERE id > :reading"
    f" AND boot != :boot AND {_STAMPED_HERE} AND received_s > :now + {_OTHER_CLOCK_S}",
    f"UPDATE readings SET {_MARKED} WHERE id > :reading AND measured_s > :now + {_FUTURE_S}",
)
#: The first event after the last sound close: later than that, after any event of such a close,
#: and of no command from before it. What follows it does so in the log, whatever its clock said.
_FIRST_EVENT = (
    "(SELECT MIN(id) FROM events WHERE at_s > :sound AND id > (SELECT COALESCE(MAX(id), 0)"
    " FROM events WHERE at_s IN (SELECT end_s FROM frames)) AND NOT EXISTS (SELECT 1 FROM journal"
    f" WHERE kind = '{LogKind.COMMAND.value}' AND name = events.alarm_id AND id <= :journal"
    " AND journal.at_s = events.at_s))"
)
_PUT_BY = (
    "INSERT INTO frames_aside SELECT :aside, id, end_s, closed_s, last_reading_id,"
    " last_command_id, house FROM frames WHERE id >= :first",
    "DELETE FROM frames WHERE id >= :first",
    "DELETE FROM checkpoints WHERE end_s > :now",
    "INSERT INTO events_aside SELECT :aside, id, event_id, alarm_id, at_s, kind, subject,"
    " transition, urgency, reason, first_in, by, note, announced, facts FROM events"
    f" WHERE id >= {_FIRST_EVENT}",
    # The rebuilt run tells those again that came before the clock was wrong.
    "DELETE FROM events WHERE id IN (SELECT id FROM events_aside WHERE aside = :aside)",
    "DELETE FROM estimates WHERE at_s > :now",
    "DELETE FROM flags WHERE reading_id > :reading",  # the rebuilt run writes its own
)
#: A message of what is void has another name from now on, so that its own is free.
_VOID = (
    "UPDATE outbox SET message_id = 'aside ' || :aside || ': ' || message_id,"
    f" last_answer = CASE WHEN state = '{WAITING}' THEN '{_WHY}' ELSE last_answer END,"
    f" settled_s = CASE WHEN state = '{WAITING}' THEN :now ELSE settled_s END,"
    f" state = CASE WHEN state = '{WAITING}' THEN '{EXPIRED}' ELSE state END"
    " WHERE created_s > :now AND (message_id LIKE 'night:%' OR EXISTS (SELECT 1 FROM events_aside"
    " WHERE aside = :aside AND event_id = substr(message_id, 1, length(event_id))))",
    "UPDATE outbox SET due_s = :now, next_try_s = :now"
    f" WHERE state = '{WAITING}' AND created_s > :now",
)


def put_by(connection: sqlite3.Connection, now_s: float, boot_id: str, offset_s: float) -> bool:
    """Put by every frame that ended after `now_s` with what came of it; False where none did.

    `offset_s` is what the wall clock now has over this boot's monotonic one.
    """
    first, last, count, closed_s = connection.execute(
        "SELECT MIN(id), MAX(id), COUNT(*), MAX(closed_s) FROM frames WHERE end_s > ?", (now_s,)
    ).fetchone()
    if not count:
        return False
    sound = connection.execute(
        "SELECT closed_s, last_reading_id, last_command_id FROM frames WHERE id < ?"
        " ORDER BY id DESC LIMIT 1",
        (first,),
    ).fetchone()
    since_s, reading_id, journal_id = sound or (None, 0, 0)
    boot = readings.boot(connection, boot_id)
    values = {"now": now_s, "offset": offset_s, "boot": boot, "first": first}
    values |= {"reading": reading_id, "journal": journal_id}
    ahead_s = connection.execute(
        "SELECT MAX(received_s - monotonic_s) FROM readings WHERE id > :reading AND boot = :boot",
        values,
    ).fetchone()[0]
    if ahead_s is None or (ahead_s := ahead_s - offset_s) < _OTHER_CLOCK_S:
        ahead_s = closed_s - now_s  # of another boot: about so much
    values["sound"] = 0.0 if since_s is None else min(since_s, now_s)
    values["aside"] = connection.execute(
        "INSERT INTO set_aside (at_s, ahead_s, since_s, frames, after_journal_id,"
        " last_journal_id, last_frame_id) VALUES (?, ?, ?, ?, ?, ?, ?)",
        (now_s, ahead_s, since_s, count, journal_id, journal.last_id(connection), last),
    ).lastrowid
    for statement in (*_PUT_BY, *_RESTAMP, *_VOID):
        connection.execute(statement, values)
    return True


def newest(connection: sqlite3.Connection) -> Aside | None:
    """What was put by last, and how many frames were closed since, counted up to nine."""
    row = connection.execute(
        "SELECT at_s, ahead_s, since_s, frames,"
        " (SELECT COUNT(*) FROM (SELECT 1 FROM frames WHERE frames.id > last_frame_id LIMIT 9))"
        " FROM set_aside ORDER BY id DESC LIMIT 1"
    ).fetchone()
    return None if row is None else Aside(*row)


def count(connection: sqlite3.Connection) -> int:
    """How often something was put by."""
    return int(connection.execute("SELECT COUNT(*) FROM set_aside").fetchone()[0])


def closes_after(connection: sqlite3.Connection, at_s: float) -> int:
    """How many frames that ended after a moment are closed."""
    found = connection.execute("SELECT COUNT(*) FROM frames WHERE end_s > ?", (at_s,))
    return int(found.fetchone()[0])


def gap_at(connection: sqlite3.Connection, at_s: float) -> float:
    """How far apart the closes before and after a moment lie [s]; 0 where one is missing."""
    before_s, after_s = connection.execute(
        "SELECT (SELECT MAX(end_s) FROM frames WHERE end_s <= :at),"
        " (SELECT MIN(end_s) FROM frames WHERE end_s > :at)",
        {"at": at_s},
    ).fetchone()
    return 0.0 if before_s is None or after_s is None else float(after_s - before_s)
