"""How readings are gathered into commits: what a broker waits for is not kept waiting."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.air_room import readings_in
from tests.broker import running_broker
from tests.faults.kills import FIRST_C, STEP_C, write_room
from tests.waiting import wait_until

pytestmark = pytest.mark.on_disk


def test_a_broker_that_waits_for_acknowledgement_need_not_wait_for_the_next_commit(
    tmp_path: Path,
) -> None:
    """Its window is the usual 20; in commits a minute apart 200 messages would take ten."""
    with running_broker(tmp_path) as broker:
        write_room(tmp_path, broker.port)
        settings = tmp_path / "monitor.yaml"
        text = settings.read_text(encoding="utf-8")
        settings.write_text(
            text.replace("bagwatt.db}", "bagwatt.db, commit_every: 1 min}"), "utf-8"
        )
        words = [sys.executable, "-m", "monitor", "watch", "--config", str(tmp_path)]
        with (tmp_path / "watch.log").open("ab") as log:
            process = subprocess.Popen(words, stdout=log, stderr=log)
        try:
            wait_until(lambda: "SUBACK" in broker.log(), 60.0, "subscribed")
            broker.publish(
                *(
                    (f"quarry/k{one % 20}/temp", f"{FIRST_C + one * STEP_C:.5f}")
                    for one in range(200)
                )
            )
            wait_until(lambda: readings_in(tmp_path) == 200, 40.0, "all are stored")
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(15)
