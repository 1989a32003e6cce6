"""Readings of a stretch of time, as a review reads them: streamed, without their every field."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator

from monitor.values import Flag, Quantity

_CHUNK = 5000
_QUANTITIES = {quantity.value: quantity for quantity in Quantity}
#: (id, probe, bag, quantity, value, measured time) of a reading; the time may be unknown.
SpanRow = tuple[int, str, str, Quantity, float, float | None]


def span(connection: sqlite3.Connection, from_s: float, to_s: float) -> tuple[int, int]:
    """(after, last): ids of what arrived from the last close at `from_s` to the first at `to_s`.

    Told by the log of closes, so that no index on time is needed; the ends reach to the first
    and newest reading where no frame was closed.
    """
    before = connection.execute(
        "SELECT last_reading_id FROM frames WHERE end_s <= ? ORDER BY end_s DESC LIMIT 1",
        (from_s,),
    ).fetchone()
    after = connection.execute(
        "SELECT last_reading_id FROM frames WHERE end_s >= ? ORDER BY end_s LIMIT 1", (to_s,)
    ).fetchone()
    newest = connection.execute("SELECT COALESCE(MAX(id), 0) FROM readings").fetchone()
    return (before[0] if before else 0, after[0] if after else newest[0])


def rows(
    connection: sqlite3.Connection,
    after_id: int,
    last_id: int,
    probes: Collection[str] | None = None,
) -> Iterator[SpanRow]:
    """Readings with after_id < id <= last_id, of some probes or of all, in short transactions."""
    names = "" if probes is None else f" AND probe IN ({', '.join('?' * len(probes))})"
    while True:
        found = connection.execute(
            "SELECT id, probe, bag, quantity, value, measured_s FROM readings"
            f" WHERE id > ? AND id <= ?{names} ORDER BY id LIMIT {_CHUNK}",
            (after_id, last_id, *(probes or ())),
        ).fetchall()
        for number, probe, bag, quantity, value, measured_s in found:
            yield number, probe, bag, _QUANTITIES[quantity], value, measured_s
        if len(found) < _CHUNK:
            return
        after_id = found[-1][0]


def flags(
    connection: sqlite3.Connection, after_id: int, last_id: int
) -> dict[int, tuple[Flag, ...]]:
    """The doubts beside those readings, by id."""
    found: dict[int, tuple[Flag, ...]] = {}
    for number, flag in connection.execute(
        "SELECT reading_id, flag FROM flags WHERE reading_id > ? AND reading_id <= ?",
        (after_id, last_id),
    ):
        found[number] = (*found.get(number, ()), Flag(flag))
    return found
