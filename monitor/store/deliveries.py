"""Messages on their way: written once under their id, settled once, never lost between."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any

from monitor.store.readings import clean_text
from monitor.store.records import OutboxRow
from monitor.values import Delivery, Message, Urgency

WAITING, DELIVERED, REFUSED, EXPIRED = "waiting", "delivered", "refused", "expired"

#: A failed try is put off no farther than this [s].
LONGEST_BACK_OFF_S = 1800.0
#: What is put off farther, and not for a person's hour, was so by a clock that is set back since.
_DUE = (
    f"state = 'waiting' AND (next_try_s <= :now OR next_try_s > :now + {LONGEST_BACK_OFF_S}"
    " AND (attempts > 0 OR due_s <= created_s))"
)

_COLUMNS = (
    "message_id, recipient, title, body, urgency, created_s, expires_s,"
    " attempts, next_try_s, state, last_answer, due_s, bundle, taken, attachment"
)


def add(connection: sqlite3.Connection, deliveries: Iterable[Delivery]) -> int:
    """Put new messages into the outbox, first due at `next_try_s`; an id already there stays."""
    before = connection.total_changes
    connection.executemany(
        "INSERT INTO outbox (message_id, recipient, title, body, urgency, created_s, expires_s,"
        " due_s, next_try_s, attachment) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (message_id) DO NOTHING",
        (
            (
                one.message.message_id,
                clean_text(one.message.recipient),
                clean_text(one.message.title),
                clean_text(one.message.body),
                one.message.urgency.value,
                one.message.created_s,
                one.message.expires_s,
                one.next_try_s,
                one.next_try_s,
                clean_text(one.message.attachment),
            )
            for one in deliveries
        ),
    )
    return connection.total_changes - before


def recipients_waiting(connection: sqlite3.Connection, now_s: float) -> list[str]:
    """Who has messages whose next try is due."""
    rows = connection.execute(
        f"SELECT DISTINCT recipient FROM outbox WHERE {_DUE}", {"now": now_s}
    ).fetchall()
    return [row[0] for row in rows]


def is_due(row: OutboxRow, now_s: float) -> bool:
    """Whether its next try is due, as `waiting` finds it."""
    one = row.delivery
    if one.next_try_s <= now_s + LONGEST_BACK_OFF_S:
        return one.next_try_s <= now_s
    return one.attempts > 0 or row.due_s <= one.message.created_s


def waiting(
    connection: sqlite3.Connection, recipient: str, now_s: float, limit: int
) -> list[OutboxRow]:
    """A person's messages whose next try is due, most urgent first, then oldest first."""
    rows = connection.execute(
        f"SELECT {_COLUMNS} FROM outbox WHERE {_DUE} AND recipient = :recipient"
        " ORDER BY urgency = 'now' DESC, urgency = 'today' DESC, id LIMIT :limit",
        {"now": now_s, "recipient": recipient, "limit": limit},
    ).fetchall()
    return [_row(row) for row in rows]


def next_try_s(connection: sqlite3.Connection, after_s: float) -> float | None:
    """The next moment after this one at which a try is due; None when there is none."""
    found = connection.execute(
        "SELECT MIN(next_try_s) FROM outbox WHERE state = 'waiting' AND next_try_s > ?", (after_s,)
    )
    moment = found.fetchone()[0]
    return None if moment is None else float(moment)


def listed(
    connection: sqlite3.Connection, message_ids: Sequence[str] | None, limit: int
) -> list[OutboxRow]:
    """These messages, or the newest of all, in the order they were written."""
    condition, values = "TRUE", []
    if message_ids is not None:
        condition = f"message_id IN ({', '.join('?' * len(message_ids))})"
        values = list(message_ids)
    rows = connection.execute(
        f"SELECT {_COLUMNS} FROM (SELECT * FROM outbox WHERE {condition}"
        f" ORDER BY id DESC LIMIT {int(limit)}) ORDER BY id",
        values,
    ).fetchall()
    return [_row(row) for row in rows]


def tie(connection: sqlite3.Connection, message_ids: Sequence[str]) -> str:
    """Tie messages into one bundle that travels under the first one's id, for good."""
    bundle = message_ids[0]
    connection.executemany(
        "UPDATE outbox SET bundle = ? WHERE message_id = ? AND bundle = ''",
        [(bundle, message_id) for message_id in message_ids],
    )
    return bundle


def bundled(connection: sqlite3.Connection, bundle: str) -> list[OutboxRow]:
    """The messages of a bundle, oldest first."""
    rows = connection.execute(
        f"SELECT {_COLUMNS} FROM outbox WHERE bundle = ? AND state = ? ORDER BY id",
        (bundle, WAITING),
    ).fetchall()
    return [_row(row) for row in rows]


def record(
    connection: sqlite3.Connection,
    message_ids: Sequence[str],
    *,
    state: str,
    next_try_s: float,
    answer: str,
    taken: frozenset[str],
    now_s: float,
) -> None:
    """Write what came of one attempt. A message settled before stays settled."""
    connection.executemany(
        "UPDATE outbox SET state = ?, attempts = attempts + 1, next_try_s = ?, last_answer = ?,"
        " taken = ?, settled_s = ? WHERE message_id = ? AND state = ?",
        [
            (
                state,
                next_try_s,
                clean_text(answer),
                " ".join(sorted(taken)),
                None if state == WAITING else now_s,
                message_id,
                WAITING,
            )
            for message_id in message_ids
        ],
    )


def settle(
    connection: sqlite3.Connection, message_ids: Sequence[str], state: str, why: str, now_s: float
) -> None:
    """End messages that will not be tried again, with the reason."""
    connection.executemany(
        "UPDATE outbox SET state = ?, last_answer = ?, settled_s = ?"
        " WHERE message_id = ? AND state = ?",
        [(state, clean_text(why), now_s, message_id, WAITING) for message_id in message_ids],
    )


def _row(row: Sequence[Any]) -> OutboxRow:
    message_id, recipient, title, body, urgency, created_s, expires_s, *rest = row
    attempts, next_try, state, last_answer, due_s, bundle, taken, attachment = rest
    message = Message(
        message_id=message_id,
        recipient=recipient,
        title=title,
        body=body,
        urgency=Urgency(urgency),
        created_s=created_s,
        expires_s=expires_s,
        attachment=attachment,
    )
    delivery = Delivery(message, attempts, next_try, state, last_answer)
    return OutboxRow(delivery, due_s, bundle, frozenset(taken.split()))
