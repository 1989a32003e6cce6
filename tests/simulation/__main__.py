"""python -m tests.simulation SEED | --seeds FIRST-LAST [--hours H]"""

from __future__ import annotations

import logging
import os
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from demo.command import parser_for
from tests.simulation.room import HOURS, Room, play


def one(seed: int, hours: float) -> Room:
    ram = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    with TemporaryDirectory(dir=ram) as name:
        return play(seed, Path(name), hours)


def main() -> int:
    parser = parser_for("tests.simulation", __doc__)
    parser.add_argument("seed", type=int, nargs="?")
    parser.add_argument("--seeds", metavar="FIRST-LAST")
    parser.add_argument("--hours", type=float, default=HOURS)
    words = parser.parse_args()
    if words.seed is not None:
        room = one(words.seed, words.hours)
        print("\n".join(room.world.story))
        return 0
    if words.seeds is None:
        parser.error("a SEED, or --seeds FIRST-LAST")
    logging.disable()  # channels that fail are the point here
    first, last = (int(word) for word in words.seeds.split("-"))
    began_s, failed, faults, ends = time.monotonic(), [], 0, 0
    for seed in range(first, last):
        try:
            room = one(seed, words.hours)
            faults, ends = faults + room.world.faults, ends + room.ends
        except AssertionError as error:
            failed.append(seed)
            print(error, flush=True)
    took_s = time.monotonic() - began_s
    print(f"{last - first} seeds, {faults} faults, {ends} ends of a process, {took_s:.0f} s")
    print(f"failed: {failed}" if failed else "all held")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
