"""A store held open by one process while others come and go."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from monitor.store import Store
from monitor.values import BookEntry

pytestmark = pytest.mark.on_disk

ADD = """
import sys
from pathlib import Path
from monitor.store import Store
from monitor.values import BookEntry
with Store.open(Path(sys.argv[1]), 0.0, check=False) as store:
    store.add_entry(BookEntry(float(sys.argv[2]), "B-07", "shaken"))
"""


def test_what_others_write_is_seen_and_kept_however_many_connections_we_hold(
    tmp_path: Path,
) -> None:
    """The daemon holds two connections; commands open the store, write and close it.

    A second open in one process must not drop the first one's locks: the command that closes
    then takes itself for the last, deletes the WAL, and the daemon writes into nowhere.
    """
    path = tmp_path / "room.db"
    with Store.open(path, 0.0) as first, Store.open(path, 0.0, check=False) as second:
        for number in (1.0, 2.0):
            command = [sys.executable, "-c", ADD, str(path), str(number)]
            subprocess.run(command, check=True, timeout=60)
            assert len(first.journal_after(0)) == len(second.journal_after(0)) == int(number)
        first.add_entry(BookEntry(3.0, "B-07", "moved"))
    with Store.open(path, 0.0) as store:
        assert len(store.journal_after(0)) == 3
