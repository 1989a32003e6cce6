"""What is thrown away when it is old, and what is kept of it for ever.

Readings become roll-ups in the transaction that deletes them. Room they leave in the file is
used again, so that it stops growing once the first of them are old.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection

from monitor.store.deliveries import WAITING
from monitor.store.records import Rollup
from monitor.values import Flag, Quantity

SLOT_S = 600.0
#: A step must not hold up what arrives, on a card either.
READINGS_AT_ONCE = 500
_ROWS_AT_ONCE = 500
ESTIMATES_KEPT_S = 400 * 86400.0  # a year of earlier runs to compare with
#: Older than the readings, estimates are kept for these hours only.
ESTIMATE_STEP_S = 6 * 3600.0
#: How far back they are looked through: what was thinned once needs no second look.
_THINNED_AFTER_S = 3 * 86400.0

#: Frames tell what is old, not the readings' own times: a clock that was not set stamps 1970.
_LAST_OLD = """
SELECT last_reading_id FROM frames
WHERE id <= (SELECT MAX(id) FROM frames) - :frames_kept
    AND end_s <= MIN(:before_s, (SELECT MIN(end_s) FROM checkpoints))
ORDER BY id DESC LIMIT 1
"""

#: A clock that was far ahead for a while made nothing old.
_SO_FAR_BACK = """
SELECT end_s FROM frames WHERE id <= (SELECT MAX(id) FROM frames) - :frames_kept
ORDER BY id DESC LIMIT 1
"""

#: A late reading is a true one; any other flag keeps a value out of the numbers.
_ROLL_UP = f"""
WITH old AS (
    SELECT
        (CAST(measured_s / {SLOT_S} AS INTEGER) + 1) * {SLOT_S} AS at_s,
        probe, bag, quantity, value,
        NOT EXISTS (
            SELECT 1 FROM flags WHERE reading_id = id AND flag != '{Flag.LATE.value}'
        ) AS sound
    FROM readings
    WHERE id <= :last AND measured_s IS NOT NULL
)
INSERT INTO rollups
SELECT at_s, probe, bag, quantity,
    MIN(value) FILTER (WHERE sound), AVG(value) FILTER (WHERE sound),
    MAX(value) FILTER (WHERE sound), SUM(sound), SUM(NOT sound)
FROM old WHERE TRUE GROUP BY at_s, probe, bag, quantity
ON CONFLICT DO UPDATE SET
    low = MIN(COALESCE(low, excluded.low), COALESCE(excluded.low, low)),
    high = MAX(COALESCE(high, excluded.high), COALESCE(excluded.high, high)),
    mean = (COALESCE(mean * count, 0) + COALESCE(excluded.mean * excluded.count, 0))
        / NULLIF(count + excluded.count, 0),
    count = count + excluded.count,
    doubted = doubted + excluded.doubted
"""


def step(connection: sqlite3.Connection, before_s: float, frames_kept: int, limit: int) -> int:
    """Roll up and delete what is old, a bounded number of rows; returns how many went.

    Readings go once their frame ended before `before_s`, `frames_kept` frames were closed
    after it, and no saved state needs them to be rebuilt from.
    """
    if frames_kept:
        back = connection.execute(_SO_FAR_BACK, {"frames_kept": frames_kept}).fetchone()
        if back is None:
            return 0
        before_s = min(before_s, back[0])
    gone = _readings(connection, before_s, frames_kept, limit)
    gone += connection.execute(
        "DELETE FROM outbox WHERE id IN (SELECT id FROM outbox WHERE state != ?"
        f" AND settled_s < ? ORDER BY id LIMIT {_ROWS_AT_ONCE})",
        (WAITING, before_s),
    ).rowcount
    return (
        gone
        + connection.execute(
            "DELETE FROM estimates WHERE (at_s, bag) IN (SELECT at_s, bag FROM estimates"
            " WHERE at_s < :year_s"
            " OR (at_s > :thinned_s AND at_s < :before_s AND at_s % :step_s != 0)"
            f" ORDER BY at_s LIMIT {_ROWS_AT_ONCE})",
            {
                "year_s": before_s - ESTIMATES_KEPT_S,
                "thinned_s": before_s - _THINNED_AFTER_S,
                "before_s": before_s,
                "step_s": ESTIMATE_STEP_S,
            },
        ).rowcount
    )


def _readings(connection: sqlite3.Connection, before_s: float, frames_kept: int, limit: int) -> int:
    old = connection.execute(
        _LAST_OLD, {"before_s": before_s, "frames_kept": frames_kept}
    ).fetchone()
    first = connection.execute("SELECT MIN(id) FROM readings").fetchone()[0]
    if old is None or first is None:
        return 0
    last = {"last": min(old[0], first + limit - 1)}
    connection.execute(_ROLL_UP, last)
    return connection.execute("DELETE FROM readings WHERE id <= :last", last).rowcount


def rollups(
    connection: sqlite3.Connection,
    since_s: float,
    until_s: float,
    probes: Collection[str] | None,
) -> list[Rollup]:
    """Slots that end in [since_s, until_s] by time, of some probes or of all."""
    condition = "" if probes is None else f" AND probe IN ({', '.join('?' * len(probes))})"
    rows = connection.execute(
        "SELECT at_s, probe, bag, quantity, low, mean, high, count, doubted FROM rollups"
        f" WHERE at_s >= ? AND at_s <= ?{condition} ORDER BY at_s, probe, bag, quantity",
        (since_s, until_s, *(probes or ())),
    ).fetchall()
    return [
        Rollup(at_s, name, bag, Quantity(quantity), *numbers)
        for at_s, name, bag, quantity, *numbers in rows
    ]
