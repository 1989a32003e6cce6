"""kill -9 under load, and two daemons in each other's way."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest

from monitor.errors import StoreError
from monitor.store.lock import lock_store
from tests.faults.kills import kill_again_and_again, write_room
from tests.faults.warm import warm
from tests.waiting import wait_until

pytestmark = pytest.mark.on_disk


def test_every_reading_sent_is_stored_exactly_once_when_killed_again_and_again(
    tmp_path: Path,
) -> None:
    """Twelve kills at random moments and a broker restart; more of them with `--kills 200`."""
    figures = kill_again_and_again(tmp_path, kills=12, seed=3, rate_per_s=300.0)
    assert figures.sent > 500
    assert (figures.lost, figures.doubled) == (0, 0), figures
    assert figures.stored == figures.sent


def test_a_second_daemon_on_the_same_store_is_refused_until_the_first_is_killed(
    tmp_path: Path,
) -> None:
    """The lock ends with the process, also with one that was killed."""
    write_room(tmp_path, 1)
    with warm() as start:
        first = start(tmp_path)
        wait_until((tmp_path / "bagwatt.db").exists, what="a store")
        second = start(tmp_path)
        wait_until(lambda: not second.running(), what="the second gives up")
        said = (tmp_path / "watch.log").read_text(encoding="utf-8")
        assert "another `bagwatt watch` has this store open" in said
        with pytest.raises(StoreError, match="another"):
            lock_store(tmp_path / "bagwatt.db")
        first.end(signal.SIGKILL)
        lock_store(tmp_path / "bagwatt.db").close()
