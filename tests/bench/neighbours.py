"""What it costs to tell neighbours of 1,000 bags at each close.

python -m tests.bench.neighbours
"""

from __future__ import annotations

import time

from demo.command import parser_for
from monitor.neighbours.board import Board
from monitor.neighbours.messages import Messages
from monitor.neighbours.topics import Topics
from tests.neighbours.rooms import END_S, TELLER, alarm, bag, picture

FRAME_S = 600.0


def main() -> None:
    """An hour of closes with 60 alarms: processor time of each, and what goes out."""
    parser_for("tests.bench.neighbours", __doc__).parse_args()
    bags = {f"GO12-{n:04d}": bag(f"GO12-{n:04d}", lot=f"L{n // 50}") for n in range(1000)}
    alarms = [alarm(f"GO12-{n:04d}") for n in range(60)]
    messages, board = Messages(TELLER, Topics(), bags=True), Board()
    board.begin()
    for number in range(1, 7):
        seen = picture(bags, *alarms, end_s=END_S + number * FRAME_S)
        began_s = time.process_time()
        board.show(kept := messages.of(seen))
        sent = 0
        while (post := board.next()) is not None:
            sent += 1
            board.sent(sent, post)
            board.answered(sent, "")
        took_ms = (time.process_time() - began_s) * 1e3
        size = sum(map(len, kept.values())) / 1024
        print(f"close {number}: {took_ms:.0f} ms, {sent} of {len(kept)} sent, {size:.0f} KiB stand")


if __name__ == "__main__":
    main()
