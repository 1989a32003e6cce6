"""A running watch takes changed strains between two frames, whole or not at all."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.errors import SettingsError
from monitor.settings.edit import apply, snapshot
from monitor.store import open_reader
from monitor.strains_file import StrainsFile
from tests.waiting import wait_until

MONITOR = """\
room: {name: barn, timezone: UTC, band_low: 18 C, band_high: 26 C}
channels: none
store: {path: bagwatt.db}
"""
STRAINS = "strains:\n  GO-12: {least_excess: 0.3 K}  # grey\n"


def test_strains_are_read_again_by_themselves_once_the_file_moved_on(tmp_path: Path) -> None:
    """At most every ten seconds of life; whole or not at all, and a fault is told once."""
    path = tmp_path / "strains.yaml"
    path.write_text(STRAINS, encoding="utf-8")
    file = StrainsFile(tmp_path)
    assert file.changed(0.0) is None
    path.write_text(STRAINS.replace("0.3 K", "0.75 K"), encoding="utf-8")
    assert file.changed(5.0) is None
    book = file.changed(10.0)
    assert book is not None and book.lookup("GO-12").least_excess_k == 0.75
    assert file.changed(30.0) is None
    path.write_text("strains:\n  GO-12: {hold: soon, least_excess: 0.9 K}\n", encoding="utf-8")
    with pytest.raises(SettingsError):
        file.changed(50.0)
    assert file.changed(70.0) is None
    (tmp_path / "learned.yaml").write_text("strains: {}\n", encoding="utf-8")
    path.write_text(STRAINS, encoding="utf-8")
    assert file.changed(90.0) is not None
    path.unlink()
    with pytest.raises(SettingsError):
        file.changed(110.0)


class Watch:
    """A real `bagwatt watch` on a clock 600 times as fast: a frame closes every second."""

    def __init__(self, config: Path) -> None:
        (config / "monitor.yaml").write_text(MONITOR, encoding="utf-8")
        (config / "strains.yaml").write_text(STRAINS, encoding="utf-8")
        command = [sys.executable, "-m", "monitor", "watch", "--config", str(config)]
        self.process = subprocess.Popen(
            [*command, "--standing", "0 s", "--rehearse", "2026-03-02T00:00:00Z,600"],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
        self.lines: list[str] = []
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        self.lines.extend(self.process.stdout)

    def said(self, text: str) -> bool:
        return any(text in line for line in self.lines)


@pytest.fixture
def watch(tmp_path: Path) -> Iterator[Watch]:
    running = Watch(tmp_path)
    try:
        wait_until(lambda: running.said("watching barn"), 60)
        yield running
    finally:
        running.process.terminate()
        running.process.wait(20)


def test_a_watch_takes_applied_thresholds_at_sighup_and_keeps_them_over_a_broken_file(
    watch: Watch, tmp_path: Path
) -> None:
    """It logs old and new; a file that can't be used changes nothing, and its faults are told."""
    limits = [("31 C", "4 d"), ("36 C", "24 h"), ("40 C", "30 min")]
    apply(snapshot(tmp_path), "GO-12", {"least_excess": "0.8 K", "hold": "3 h"}, limits)
    watch.process.send_signal(signal.SIGHUP)
    wait_until(lambda: watch.said("GO-12: least_excess 0.3 -> 0.8 K, hold 3600 -> 10800 s"), 60)
    assert watch.said("core_limits 31.5 C 96 h, 36 C 24 h, 40 C 0.5 h -> 31 C 96 h, 36 C 24 h")
    (tmp_path / "strains.yaml").write_text("strains:\n  GO-12: {hold: soon}\n", encoding="utf-8")
    watch.process.send_signal(signal.SIGHUP)
    wait_until(lambda: watch.said("the strains stay as they were"), 60)
    assert watch.said("strains.yaml:2:17")
    with open_reader(tmp_path / "bagwatt.db") as store:
        told = [json.loads(one.detail) for one in store.notes() if one.kind == "thresholds"]
        checkpoint = store.load_checkpoint()
    assert [one["GO-12"][:3] for one in told] == [[0.3, 0.5, 3600.0], [0.8, 0.5, 10800.0]]
    assert [one["GO-12"][3] for one in told] == [[31.5, 345600.0], [31.0, 345600.0]]
    assert checkpoint is not None
