"""A process to be killed: stores numbered readings and says each number once it is committed.

python -m tests.store.writer STORE FIRST_NUMBER
"""

from __future__ import annotations

import sys
from pathlib import Path

from monitor.store import Store
from tests.store.samples import arrival, delivery, reading


def main(path: Path, first: int) -> None:
    store = Store.open(path, 0.0)
    number = first
    while True:
        with store.transaction():
            store.add_batch([arrival(reading(number, number), dedup=f"d{number}")])
            store.close_frame(
                number, number, store.last_reading_id(), 0, messages=[delivery(number)]
            )
        print(number, flush=True)
        number += 1


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
