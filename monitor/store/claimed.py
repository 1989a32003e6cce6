"""Who a store is among others, and since when it claims the name of its room at a broker.

Both stay with the store: a watch that starts anew on it has the same claim as before.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from monitor.store.database import translated
from monitor.store.reader import Reader
from monitor.store.store import Store


@dataclass(frozen=True, slots=True)
class Claimed:
    """The store's id, and since when it claims the room's name [s since 1970, whole seconds]."""

    instance: str
    since_s: float


def known(store: Reader, prefix: str, room: str) -> Claimed | None:
    """What the store claims under a prefix of topics; None where it never did."""
    with translated(store.path):
        row = store.connection.execute(
            "SELECT instance, since_s FROM identity, claims WHERE prefix = ? AND room = ?",
            (prefix, room),
        ).fetchone()
    return None if row is None else Claimed(*row)


def claim(store: Store, prefix: str, room: str, now_s: float) -> Claimed:
    """What the store claims; from `now_s` on where it never did."""
    with store.transaction() as connection:
        connection.execute(
            "INSERT INTO identity VALUES (1, ?) ON CONFLICT DO NOTHING", (uuid.uuid4().hex,)
        )
        connection.execute(
            "INSERT INTO claims VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
            (prefix, room, float(round(now_s))),
        )
        found = known(store, prefix, room)
    assert found is not None
    return found


def keep(store: Store, prefix: str, room: str, kept: Claimed) -> None:
    """Write what another store claimed into one that takes its place."""
    with store.transaction() as connection:
        connection.execute("INSERT OR REPLACE INTO identity VALUES (1, ?)", (kept.instance,))
        connection.execute(
            "INSERT OR REPLACE INTO claims VALUES (?, ?, ?)", (prefix, room, kept.since_s)
        )
