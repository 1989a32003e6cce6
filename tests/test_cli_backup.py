"""A copy of the store made while it is written, and a run that goes on from it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.resume import resume
from monitor.store import open_reader
from tests.faults.kills import write_room
from tests.waiting import wait_until
from tests.watched import Room


def test_a_backup_made_under_load_holds_all_that_was_committed_before(tmp_path: Path) -> None:
    """A writer in another process goes on and on; three copies are taken of it."""
    write_room(tmp_path, 1)
    writer = subprocess.Popen(
        [sys.executable, "-m", "tests.store.writer", str(tmp_path / "bagwatt.db"), "1"],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert writer.stdout is not None
    try:
        for copy in range(3):
            said = int(writer.stdout.readline())
            target = tmp_path / f"copy-{copy}.db"
            assert main(["backup", str(target), "--config", str(tmp_path)]) == Exit.DONE
            with open_reader(target) as store:
                kept = [int(one.value) for _, one in store.readings_after(0, 10**6)]
                last = store.last_frame()
            assert kept == list(range(1, len(kept) + 1)) and len(kept) >= said
            assert last is not None and last.end_s == kept[-1]
        assert writer.poll() is None
    finally:
        writer.kill()
        writer.wait(5)
        writer.stdout.close()


def test_a_run_goes_on_from_a_restored_copy(tmp_path: Path) -> None:
    """Restored as the README says, it stands where the copy was taken and takes new readings."""
    write_room(tmp_path, 1)
    room = Room(tmp_path)
    for _ in range(3):
        room.minute()
    stood = room.log._road.state()
    folder = tmp_path / "stick"
    folder.mkdir()
    assert main(["backup", str(folder), "--config", str(tmp_path)]) == Exit.DONE
    room.minute()
    room.log.store.close()
    (copy,) = folder.iterdir()
    assert copy.stat().st_mode & 0o777 == 0o600
    for part in ("-wal", "-shm"):
        (tmp_path / f"bagwatt.db{part}").unlink(missing_ok=True)
    shutil.copy(copy, tmp_path / "bagwatt.db")
    with open_reader(tmp_path / "bagwatt.db") as store:
        assert resume(store, room.settings).road.state() == stood
    room.sent = 90  # what came after the copy is gone with the old card
    room.open()
    room.minute()
    room.check()


def test_a_backup_overwrites_nothing_and_leaves_no_half(tmp_path: Path, capsys: object) -> None:
    """An existing file is refused by name; a folder that is not there as well."""
    write_room(tmp_path, 1)
    Room(tmp_path).log.store.close()
    target = tmp_path / "copy.db"
    target.write_text("precious", encoding="utf-8")
    assert main(["backup", str(target), "--config", str(tmp_path)]) == Exit.FAILED
    assert target.read_text(encoding="utf-8") == "precious"
    nowhere = tmp_path / "no" / "copy.db"
    assert main(["backup", str(nowhere), "--config", str(tmp_path)]) == Exit.FAILED
    wait_until(lambda: not list(tmp_path.rglob("*.part")), 0.1)
