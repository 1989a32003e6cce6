"""Deliveries seen before, so that a message sent twice is stored once.

Keys lie in blocks that fit a page: a commit writes one block, whatever its keys. An index of
keys would have it write a page for almost every message, which a card pays for.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from hashlib import blake2b

from monitor.store.records import Arrival
from monitor.terms import BY_HAND

#: Deliveries remembered for each source: twice a broker's largest window and more.
KEPT = 2000
#: By hand a file comes again as a whole, the rows of a season in it.
KEPT_BY_HAND = 50_000
_KEY_BYTES = 8
_BLOCK_BYTES = 250 * _KEY_BYTES
#: Blocks before so many keys are forgotten.
_FORGET = """
DELETE FROM seen WHERE id IN (
    SELECT id FROM (
        SELECT id, SUM(length(keys)) OVER (ORDER BY id DESC) - length(keys) AS newer_bytes
        FROM seen WHERE source = ?
    ) WHERE newer_bytes >= ?
)
"""


def first_times(connection: sqlite3.Connection, arrivals: Sequence[Arrival]) -> list[bool]:
    """Of each arrival whether it came for the first time; what did is remembered from now on.

    One without a key can't come twice.
    """
    blocks: dict[str, list[tuple[int, bytes]]] = {}
    known: dict[str, set[bytes]] = {}
    fresh: dict[str, list[bytes]] = {}
    firsts = []
    for arrival in arrivals:
        source = arrival.source
        if not arrival.dedup:
            firsts.append(True)
            continue
        if source not in known:
            blocks[source] = _blocks(connection, source)
            known[source] = {key for _, block in blocks[source] for key in _cut(block, _KEY_BYTES)}
            fresh[source] = []
        key = blake2b(
            arrival.dedup.encode("utf-8", "surrogatepass"), digest_size=_KEY_BYTES
        ).digest()
        firsts.append(key not in known[source])
        if firsts[-1]:
            known[source].add(key)
            fresh[source].append(key)
    for source, keys in fresh.items():
        if keys:
            _remember(connection, source, blocks[source], b"".join(keys))
    return firsts


def _blocks(connection: sqlite3.Connection, source: str) -> list[tuple[int, bytes]]:
    """(id, keys) of a source's blocks, oldest first."""
    return connection.execute(
        "SELECT id, keys FROM seen WHERE source = ? ORDER BY id", (source,)
    ).fetchall()


def _cut(text: bytes, length: int) -> list[bytes]:
    return [text[at : at + length] for at in range(0, len(text), length)]


def _remember(
    connection: sqlite3.Connection, source: str, blocks: list[tuple[int, bytes]], keys: bytes
) -> None:
    """Write keys behind those of the newest block; the oldest blocks are forgotten."""
    number, newest = blocks[-1] if blocks else (None, b"")
    if len(newest) >= _BLOCK_BYTES:
        number, newest = None, b""
    parts = _cut(newest + keys, _BLOCK_BYTES)
    if number is not None:
        connection.execute("UPDATE seen SET keys = ? WHERE id = ?", (parts.pop(0), number))
    connection.executemany(
        "INSERT INTO seen (source, keys) VALUES (?, ?)", [(source, part) for part in parts]
    )
    if parts:
        kept = KEPT_BY_HAND if source == BY_HAND else KEPT
        connection.execute(_FORGET, (source, kept * _KEY_BYTES))
