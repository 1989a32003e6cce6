"""The whole watch on a card that is full: it goes on judging and telling, and loses nothing."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from monitor.errors import StoreError
from monitor.store import open_reader, spare_path
from monitor.store.spare_place import lying
from tests.air_room import readings_in
from tests.broker import Broker, running_broker
from tests.faults.kills import FIRST_C, STEP_C, stored, write_room
from tests.faults.shim import build_shim
from tests.receivers import HttpReceiver
from tests.waiting import wait_until

pytestmark = pytest.mark.on_disk

RECIPIENT = "recipients: [{name: owner, urls: [{env: OWNER_URL}], least_urgency: later}]"


@contextmanager
def watching(folder: Path, shim: Path, url: str, fault: int) -> Iterator[subprocess.Popen[bytes]]:
    """A watch whose disk refuses while a file `full` lies in the folder; a minute is a second."""
    environment = {
        **os.environ,
        "LD_PRELOAD": str(shim),
        "FAULT_PATH": str(folder / "bagwatt.db"),
        "FAULT_AT": "1",
        "FAULT_ERROR": str(fault),
        "FAULT_SWITCH": str(folder / "full"),
        "OWNER_URL": url,
        "OPENBLAS_NUM_THREADS": "1",
    }
    words = ["watch", "--config", str(folder), "--rehearse", "2027-01-04T12:00:00Z,60"]
    with (folder / "watch.log").open("ab") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "monitor", *words], stdout=log, stderr=log, env=environment
        )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            process.wait(15)


def publish(broker: Broker, first: int, number: int) -> None:
    broker.publish(*(
        (f"quarry/k{one % 20}/temp", f"{FIRST_C + one * STEP_C:.5f}")
        for one in range(first, first + number)
    ))  # fmt: skip


@pytest.mark.parametrize("stick", [False, True], ids=["memory", "stick"])
def test_a_card_that_refuses_is_told_now_and_has_every_reading_in_the_end(
    tmp_path: Path, medium: Path, stick: bool
) -> None:
    """Readings, a full card, more readings, a kill, a start on a read-only card, and it is back.

    With a stick for the spare the power is cut as well: what lies in memory is gone.
    """
    shim = build_shim(tmp_path)
    if shim is None:
        pytest.skip("needs a C compiler to build the shim")
    with running_broker(tmp_path) as broker, HttpReceiver() as receiver:
        write_room(tmp_path, broker.port)
        settings = (tmp_path / "monitor.yaml").read_text(encoding="utf-8")
        settings = settings.replace("channels: none", RECIPIENT)
        if stick:
            settings = settings.replace("bagwatt.db}", f"bagwatt.db, spare: {medium}}}")
        (tmp_path / "monitor.yaml").write_text(settings, encoding="utf-8")
        full = tmp_path / "full"
        with watching(tmp_path, shim, receiver.url, errno.ENOSPC) as process:
            wait_until(lambda: "SUBACK" in broker.log(), 30.0, "subscribed")
            publish(broker, 0, 50)
            wait_until(lambda: readings_in(tmp_path) == 50, 30.0, "readings on the card")
            full.touch()
            publish(broker, 50, 700)  # more than the broker sends ahead of acknowledgement
            told = "store can't be written"
            wait_until(
                lambda: any(told in str(one) for one in receiver.taken), 30.0, "the alarm is told"
            )
            assert readings_in(tmp_path) == 50
            process.kill()  # in the midst of it
            process.wait(10)
        memory = spare_path(tmp_path / "bagwatt.db")
        assert memory is not None and memory.exists() is not stick
        if stick:
            shutil.rmtree(memory.parent)
        with watching(tmp_path, shim, receiver.url, errno.EROFS):
            publish(broker, 750, 50)
            wait_until(lambda: _spared(tmp_path, medium) == 800, 30.0, "it goes on in the spare")
            full.unlink()
            wait_until(lambda: readings_in(tmp_path) == 800, 40.0, "all of it is on the card")
        found = stored(tmp_path)
    assert sorted(found) == list(range(800)) and set(found.values()) == {1}
    assert not lying(tmp_path / "bagwatt.db", medium)


def _spared(folder: Path, medium: Path) -> int:
    for spare in lying(folder / "bagwatt.db", medium):
        with suppress(StoreError), open_reader(spare) as store:
            return store.last_reading_id()
    return 0
