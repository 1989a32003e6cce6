"""What it weighs to listen to a farm: processor for a message, for a look, for the lots; memory.

    python -m tests.bench.farm [ROOMS]

Each room tells 80 lots, each lot standing in several rooms, and 24 alarms: as much as it may.
"""

from __future__ import annotations

import os
import random
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from demo.command import parser_for, whole_number
from monitor.farm.lots import lots_over_rooms
from monitor.room_messages import RoomClaim
from monitor.room_summary import to_json
from tests.farm.samples import NOW_S, TOPICS, Heard, alarm, claim, lot, summary

LOTS, ALARMS, BAGS, CALLED = 80, 24, 24, 0.3


def messages(rooms: int) -> Iterator[tuple[str, bytes]]:
    """A claim and a summary of each room."""
    dice = random.Random(1)
    for number in range(rooms):
        name = f"Room {number}"
        lots = [
            lot(f"GO12-G{(number + step) % 120}", BAGS, int(dice.random() < CALLED))
            for step in range(LOTS)
        ]
        alarms = [alarm(bag=f"B-{bag}") for bag in range(ALARMS)]
        who = claim(name)
        yield TOPICS.claim(name, who.instance), to_json(RoomClaim, who)
        yield TOPICS.summary(name), summary(name, NOW_S, alarms, lots).to_json()


def resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Milliseconds of processor, and what came of it."""
    began_s = time.process_time()
    found = work()
    return (time.process_time() - began_s) * 1e3, found


def main() -> None:
    parser = parser_for("tests.bench.farm", __doc__)
    parser.add_argument("rooms", metavar="ROOMS", nargs="?", type=whole_number, default=20)
    told = list(messages(parser.parse_args().rooms))
    heard = Heard()
    before_mib = resident_mib()
    took_ms, _ = timed(lambda: [heard.raw(*one) for one in told])
    look_ms, view = timed(lambda: heard.farm.look(heard.now))
    lots_ms, lots = timed(lambda: lots_over_rooms(view.room_lots()))
    size_kib = max(len(payload) for _, payload in told) / 1024
    print(
        f"{len(view.rooms)} rooms, {size_kib:.0f} KiB each: {took_ms / len(told):.2f} ms a message,"
        f" {look_ms:.1f} ms a look, {lots_ms:.0f} ms for {len(lots.lots)} lots where one changed,"
        f" {resident_mib() - before_mib:.1f} MiB resident"
    )


if __name__ == "__main__":
    main()
