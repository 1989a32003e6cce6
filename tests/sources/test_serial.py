"""The serial source on real pseudo-terminals made by socat."""

from __future__ import annotations

import os
import queue
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.clock import SystemClock
from monitor.settings.schema_payload import LineSettings
from monitor.settings.schema_sources import SerialSettings
from monitor.sources import build_source
from monitor.sources import serial as serial_source
from monitor.sources.serial import SerialSource
from monitor.sources.source import Packet
from monitor.values import Reason, Refusal
from tests.sources.parts import reasons, take
from tests.waiting import wait_until


class Cable:
    """Two linked pseudo-terminals: `far` is the device's end, `near` the port by its name."""

    def __init__(self, folder: Path) -> None:
        if shutil.which("socat") is None:
            pytest.skip("socat is not installed")
        self.near, self.far = folder / "port", folder / "device"
        self._process: subprocess.Popen[bytes] | None = None
        self._device = -1

    def plug(self) -> None:
        ends = [f"pty,raw,echo=0,link={path}" for path in (self.near, self.far)]
        self._process = subprocess.Popen(["socat", *ends], stderr=subprocess.DEVNULL)
        wait_until(lambda: self.near.exists() and self.far.exists(), what="pty pair")
        self._device = os.open(self.far, os.O_RDWR | os.O_NOCTTY)

    def send(self, data: bytes) -> None:
        os.write(self._device, data)

    def unplug(self) -> None:
        if self._process is not None:
            os.close(self._device)
            self._process.terminate()
            self._process.wait(timeout=5)
            self._process = None


@pytest.fixture
def cable(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Cable]:
    monkeypatch.setattr(serial_source, "SHORTEST_BACK_OFF_S", 0.1)
    cable = Cable(tmp_path)
    yield cable
    cable.unplug()


def settings(cable: Cable) -> SerialSettings:
    line = LineSettings(pattern=r"(?P<probe>\w+) (?P<value>\S+)")
    return SerialSettings(name="rack", port=cable.near, line=line, max_line_bytes=64)


@pytest.fixture
def source(cable: Cable) -> Iterator[SerialSource]:
    source = build_source(settings(cable), SystemClock())
    assert isinstance(source, SerialSource)
    yield source
    source.stop()


def connected(source: SerialSource) -> None:
    wait_until(lambda: source.health(0.0).connected, what="port open")


def test_lines_become_readings_without_the_first_fragment(
    cable: Cable, source: SerialSource
) -> None:
    cable.plug()
    sink: queue.Queue[Packet] = queue.Queue(100)
    source.start(sink)
    connected(source)
    cable.send(b"3.4\np1 21.5\r\np2 2")
    cable.send(b"2.25\r\n")
    first, second = (source.decode(packet) for packet in take(sink, 2))
    assert [(r.probe, r.value, r.source) for r in first.readings] == [("p1", 21.5, "rack")]
    assert [(r.probe, r.value) for r in second.readings] == [("p2", 22.25)]
    assert sink.empty()
    assert source.health(0.0).last_packet_monotonic_s is not None


def test_noise_and_endless_lines_are_refused_by_name_and_stop_nothing(
    cable: Cable, source: SerialSource
) -> None:
    cable.plug()
    sink: queue.Queue[Packet] = queue.Queue(100)
    source.start(sink)
    connected(source)
    cable.send(b"\n\x00\xff\x80\xfe noise\n" + b"x" * 200 + b"\np1 21.5\np1 1e999\n")
    found = [source.decode(packet) for packet in take(sink, 4)]
    assert sorted(reason for one in found for reason in reasons(one)) == sorted(
        [Refusal.NO_MATCH, Refusal.TOO_LONG, Refusal.NOT_FINITE]
    )
    assert [reading.value for one in found for reading in one.readings] == [21.5]


def test_an_unplugged_port_is_told_and_opened_again_when_plugged_in(
    cable: Cable, source: SerialSource
) -> None:
    cable.plug()
    sink: queue.Queue[Packet] = queue.Queue(100)
    source.start(sink)
    connected(source)
    cable.send(b"\np1 21.5\np1 99")
    (before,) = take(sink, 1)
    cable.unplug()
    wait_until(lambda: source.health(0.0).problem is Reason.PORT_LOST, what="port lost")
    wait_until(lambda: "plugged in" in source.health(0.0).detail, what="port missing")
    cable.plug()
    connected(source)
    cable.send(b"4.9\np1 21.6\n")  # the half line before the unplugging is not glued to this
    (after,) = take(sink, 1)
    assert source.decode(after).readings[0].value == 21.6
    assert after.generation > before.generation


def test_a_missing_port_is_told_and_found_later(cable: Cable, source: SerialSource) -> None:
    source.start(queue.Queue(10))
    wait_until(lambda: "plugged in" in source.health(0.0).detail, what="port missing")
    assert source.health(0.0).problem is Reason.PORT_LOST
    cable.plug()
    connected(source)
    assert source.health(0.0).problem is None


def test_a_port_held_by_another_bagwatt_is_told(cable: Cable, source: SerialSource) -> None:
    cable.plug()
    source.start(queue.Queue(10))
    connected(source)
    second = SerialSource(settings(cable), SystemClock())
    second.start(queue.Queue(10))
    try:
        wait_until(lambda: "another program" in second.health(0.0).detail, what="held")
        assert second.health(0.0).problem is Reason.PORT_LOST
        assert source.health(0.0).connected
    finally:
        second.stop()


def test_a_file_that_is_no_port_is_told(tmp_path: Path) -> None:
    (tmp_path / "port").write_bytes(b"p1 21.5\n")
    line = LineSettings(pattern=r"(?P<value>.+)", probe="p")
    plain = SerialSettings(name="rack", port=tmp_path / "port", line=line)
    source = SerialSource(plain, SystemClock())
    source.start(queue.Queue(10))
    try:
        wait_until(lambda: source.health(0.0).counts.get("openings lost"), what="refused")
        assert source.health(0.0).problem is Reason.PORT_LOST
    finally:
        source.stop()


def test_lines_wait_for_room_rather_than_get_lost(cable: Cable, source: SerialSource) -> None:
    cable.plug()
    sink: queue.Queue[Packet] = queue.Queue(2)
    source.start(sink)
    connected(source)
    cable.send(b"\n" + b"".join(b"p1 %d\n" % number for number in range(20)))
    wait_until(lambda: source.health(0.0).counts.get("waited for room"), what="queue full")
    values = [source.decode(packet).readings[0].value for packet in take(sink, 20)]
    assert values == [float(number) for number in range(20)]


def test_what_is_no_serial_port_is_told_as_such(tmp_path: Path) -> None:
    """A wrong path in the settings, not a fault that mends itself."""
    file = tmp_path / "readings.txt"
    file.write_text("p1 21.5\n", encoding="utf-8")
    line = LineSettings(pattern=r"(?P<probe>\w+) (?P<value>\S+)")
    source = build_source(SerialSettings(name="rack", port=file, line=line), SystemClock())
    source.start(queue.Queue(1))
    try:
        wait_until(lambda: "is no serial port" in source.health(0.0).detail, what="told")
    finally:
        source.stop()
    assert source.health(0.0).detail.startswith(f"{file} is no serial port: name one of /dev/")
