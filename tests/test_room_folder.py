"""The room's folder while the daemon runs: whatever becomes of its files, the watch goes on."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from monitor import keeper
from monitor.clock import SystemClock
from monitor.live import Live
from monitor.room_folder import RoomFolder
from monitor.settings.load import load_settings
from monitor.store import open_reader
from tests.faults.kills import write_room


def test_a_file_that_can_not_be_read_is_said_and_the_watch_goes_on(tmp_path: Path) -> None:
    write_room(tmp_path, 1)
    (tmp_path / "room" / "probes.csv").unlink()
    (tmp_path / "room" / "probes.csv").symlink_to("x" * 300)
    said: list[str] = []
    live = Live(load_settings(tmp_path, {}), SystemClock(), said.append)
    try:
        live.begin()
        live.turn()
    finally:
        live.end()
    assert any("probes.csv" in line or "File name too long" in line for line in said)
    with open_reader(tmp_path / "bagwatt.db") as store:
        assert [note.kind for note in store.notes()][-1] == "stopped"


def test_what_could_not_be_stored_is_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card that was read-only at that moment, and no room for a spare."""
    monkeypatch.setattr(keeper, "places", lambda path, medium: [])
    monkeypatch.setattr("monitor.live.FOLDER_EVERY_S", 0.0)
    write_room(tmp_path, 1)
    live = Live(load_settings(tmp_path, {}), SystemClock(), lambda line: None)
    card = live._log.store.connection
    try:
        card.execute("PRAGMA query_only = TRUE")
        live.begin()
        card.execute("PRAGMA query_only = FALSE")
        live.turn()
    finally:
        live.end()
    with open_reader(tmp_path / "bagwatt.db") as store:
        assert "k0" in store.book()[1]


def test_a_file_that_may_be_read_from_now_on_is_read_again(tmp_path: Path) -> None:
    """Its mode changed and not one letter of it."""
    write_room(tmp_path, 1)
    folder = RoomFolder(tmp_path / "room")
    assert folder.changed() is not None
    assert folder.changed() is None
    (tmp_path / "room" / "bags.csv").chmod(0o600)
    assert folder.changed() is not None


def test_a_file_kept_by_its_old_date_is_seen_to_be_another(tmp_path: Path) -> None:
    """As long as the one before, and copied with its times (`cp -p`)."""
    write_room(tmp_path, 1)
    file = tmp_path / "room" / "probes.csv"
    folder = RoomFolder(tmp_path / "room")
    assert folder.changed() is not None
    facts, other = file.stat(), file.with_suffix(".new")
    other.write_text(file.read_text("utf-8").replace("k0", "k9"), encoding="utf-8")
    os.utime(other, ns=(facts.st_atime_ns, facts.st_mtime_ns))
    other.rename(file)
    assert folder.changed() is not None
