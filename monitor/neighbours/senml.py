"""Readings and estimates of a close as SenML packs in JSON (RFC 8428).

Names are `room:<room>/probe:<probe>/temperature`, `…/humidity`, `room:<room>/bag:<bag>/hand`,
`…/surface`, `…/core`, `…/excess`. What SenML forbids in a name stands as `_` and two hex digits
of each byte of its UTF-8, `_` too. Units are those of the registry, so heat (W/kg) is not told.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from monitor.neighbours.picture import Closed
from monitor.store import Reader, copied
from monitor.store.copied import CopiedReading
from monitor.store.frames import BagEstimate
from monitor.values import Bag, Quantity

MOST_RECORDS = 300
#: As the other messages: what a broker set up by our snippet lets through is 64 KiB.
MOST_BYTES = 60_000
#: A record longer than this has a name that is a mistake; it is left out.
LONGEST_RECORD = 2_000
_PLAIN = re.compile(r"[^A-Za-z0-9\-.]")
_UNITS = {Quantity.TEMPERATURE: "Cel", Quantity.HUMIDITY: "%RH"}

Record = dict[str, Any]


class Packs:
    """Makes the packs of one room, each reading once."""

    def __init__(self, room: str) -> None:
        self._room = room
        self._place: tuple[object, int] | None = None  # store and last reading told

    def at(self, store: Reader, closed: Closed, bags: Mapping[str, Bag]) -> list[bytes]:
        """What came since the close before, and what is thought of each bag in the room.

        Readings in doubt are left out, and those of a clock that was not set. Raises StoreError.
        """
        end_s = closed.outcome.frame.end_s
        offsets_k = {name: probe.offset_k for name, probe in store.book()[1].items()}
        records = [
            *(_reading(one, offsets_k, end_s) for one in self._new(store)),
            *_estimates(closed.outcome.verdicts, bags),
        ]
        return list(packs(self._room, end_s, records))

    def _new(self, store: Reader) -> Iterator[CopiedReading]:
        last, before = store.frames_back(0), store.frames_back(1)
        last_id = 0 if last is None else last.last_reading_id
        after_id = 0 if before is None else before.last_reading_id
        if self._place is not None and self._place[0] == store.path:
            after_id = self._place[1]
        self._place = store.path, last_id
        for one in copied.readings(store, after_id, last_id):
            if not (one.doubted or one.later) and math.isfinite(one.value):
                yield one


def packs(room: str, base_s: float, records: Iterable[Record]) -> Iterator[bytes]:
    """Records as packs that a broker takes, each with the base name and time."""
    base = {"bn": f"room:{encoded(room)}/", "bt": base_s}
    rows: list[str] = []
    size = 0
    for record in records:
        row = json.dumps(record | base if not rows else record, separators=(",", ":"))
        if len(row) > LONGEST_RECORD:
            continue
        if rows and (len(rows) == MOST_RECORDS or size + len(row) > MOST_BYTES):
            yield _pack(rows)
            rows, size = [], 0
            row = json.dumps(record | base, separators=(",", ":"))
        rows.append(row)
        size += len(row) + 1
    if rows:
        yield _pack(rows)


def encoded(name: str) -> str:
    """A name as a part of SenML's: what it forbids, and `:` and `/`, as bytes in hex."""
    return _PLAIN.sub(lambda sign: "".join(f"_{byte:02X}" for byte in sign[0].encode()), name)


def _pack(rows: list[str]) -> bytes:
    return f"[{','.join(rows)}]".encode()


def _reading(one: CopiedReading, offsets_k: Mapping[str, float], base_s: float) -> Record:
    quantity = Quantity(one.quantity)
    humid = quantity is Quantity.HUMIDITY
    name = f"probe:{encoded(one.probe)}/{quantity}" if one.probe else f"bag:{encoded(one.bag)}/hand"
    value = one.value if humid else one.value + offsets_k.get(one.probe, 0.0)
    return {
        "n": name,
        "u": _UNITS[quantity],
        "v": round(value, 4),
        "t": round(one.at_s - base_s, 3),
    }


def _estimates(verdicts: Mapping[str, BagEstimate], bags: Mapping[str, Bag]) -> Iterator[Record]:
    for code in bags.keys() & verdicts.keys():
        estimate, evidence = verdicts[code]
        excess_k = None if evidence is None else evidence.excess_k
        told = (
            ("surface", "Cel", estimate.surface_c),
            ("core", "Cel", estimate.core_c),
            ("excess", "K", excess_k),
        )
        for name, unit, value in told:
            if value is not None and math.isfinite(value):
                yield {"n": f"bag:{encoded(code)}/{name}", "u": unit, "v": round(value, 4)}
