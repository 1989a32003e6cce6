"""1-Wire thermometers: scratchpads with recomputed checksums, and a file tree like the kernel's."""

from __future__ import annotations

import queue
from pathlib import Path

import pytest

from monitor.clock import SystemClock
from monitor.settings.schema_sources import OneWireSettings
from monitor.sources import build_source
from monitor.sources.checksums import crc8_maxim
from monitor.sources.numbers import UnreadableError
from monitor.sources.onewire import OneWireSource
from monitor.sources.scratchpad import read_w1_slave
from monitor.sources.source import Packet
from monitor.values import Reason, Refusal
from tests.sources.parts import reasons, take
from tests.waiting import wait_until

WARM = "73 01 4b 46 7f ff 0d 10 41"


def sealed(head: str) -> str:
    """Eight scratchpad bytes with their checksum."""
    return f"{head} {crc8_maxim(bytes.fromhex(head)):02x}"


def slave(scratchpad: str, verdict: str = "YES", millidegrees: int = 23187) -> bytes:
    """The text of `w1_slave`, shaped as the kernel's w1_therm documentation shows it."""
    crc = scratchpad[-2:]
    return f"{scratchpad} : crc={crc} {verdict}\n{scratchpad} t={millidegrees}\n".encode()


@pytest.mark.parametrize(
    ("scratchpad", "value_c"),
    [  # DS18B20 datasheet, table 1 gives the raw counts; checksums recomputed
        ("70 01 4b 46 7f ff 10 10 e1", 23.0),
        (WARM, 23.1875),
        ("72 01 4b 46 7f ff 0e 10 57", 23.125),
        ("91 01 4b 46 7f ff 0f 10 25", 25.0625),
        ("5e ff 4b 46 7f ff 02 10 b6", -10.125),
    ],
)
def test_a_scratchpad_gives_its_temperature(scratchpad: str, value_c: float) -> None:
    assert read_w1_slave(slave(scratchpad), "28") == value_c


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (slave("50 05 4b 46 7f ff 0c 10 1c"), Refusal.POWER_ON),
        (slave("50 05 4b 46 7f ff 10 10 bd"), Refusal.POWER_ON),  # no bag is really at 85 °C
        (slave(sealed("ff 07 4b 46 7f ff 0c 10")), Refusal.POWER_ON),  # 127.94 °C: failed
        (slave("00 00 00 00 00 00 00 00 00"), Refusal.NO_DEVICE),
        (slave("ff ff ff ff ff ff ff ff ff", "NO"), Refusal.NO_DEVICE),
        (slave(WARM, "NO"), Refusal.BAD_CHECKSUM),
        (slave("73 01 4b 46 7f ff 0d 10 42"), Refusal.BAD_CHECKSUM),  # marked YES all the same
        (slave("78 01 4b 46 7f ff 0c 10 1c"), Refusal.BAD_CHECKSUM),  # a fixture seen in public
        (b"", Refusal.EMPTY),
        (b"t=23187\n", Refusal.NO_MATCH),
        (b"\xff\x00 garbage", Refusal.NO_MATCH),
        (slave(WARM)[:20], Refusal.NO_MATCH),
    ],
)
def test_a_scratchpad_is_refused_by_name(text: bytes, reason: Refusal) -> None:
    with pytest.raises(UnreadableError) as caught:
        read_w1_slave(text, "28")
    assert caught.value.reason is reason


def test_bits_that_mean_nothing_at_nine_bits_are_left_out() -> None:
    """Configuration byte 1f: half degrees; the lowest three bits are undefined (datasheet)."""
    assert read_w1_slave(slave(sealed("77 01 4b 46 1f ff 09 10")), "28") == 23.0


def test_family_ten_uses_its_count_registers() -> None:
    """DS18S20 datasheet: 25 °C read as 0x0032, 0.25 off, plus the counts not remaining."""
    text = slave(sealed("32 00 4b 46 ff ff 0c 10"))
    assert read_w1_slave(text, "10") == 25 - 0.25 + (16 - 12) / 16
    with pytest.raises(UnreadableError):  # its own 85 °C
        read_w1_slave(slave(sealed("aa 00 4b 46 ff ff 0c 10")), "10")


def put(folder: Path, rom: str, text: bytes) -> None:
    (folder / rom).mkdir(exist_ok=True)
    (folder / rom / "w1_slave").write_bytes(text)


def test_the_file_tree_is_read_and_a_probe_that_vanishes_is_named(tmp_path: Path) -> None:
    put(tmp_path, "28-0316a2795aff", slave(WARM))
    put(tmp_path, "22-0000000000aa", slave("00 00 00 00 00 00 00 00 00"))
    put(tmp_path, "w1_bus_master1", b"no probe")
    settings = OneWireSettings(
        name="rail", folder=tmp_path, every_s=0.05, probes={"28-0316a2795aff": "air-low"}
    )
    source = build_source(settings, SystemClock())
    assert isinstance(source, OneWireSource)
    sink: queue.Queue[Packet] = queue.Queue(100)
    source.start(sink)
    try:
        first, second = (source.decode(packet) for packet in take(sink, 2))
        assert reasons(first) == [Refusal.NO_DEVICE]
        assert "22-0000000000aa" in first.refused[0].detail
        (reading,) = second.readings
        assert (reading.probe, reading.value, reading.raw_unit) == ("air-low", 23.1875, "Cel")
        assert reading.measured_s == reading.received_s
        wait_until(lambda: source.health(0.0).connected, what="a whole round")
        (tmp_path / "28-0316a2795aff" / "w1_slave").unlink()
        (tmp_path / "28-0316a2795aff").rmdir()
        wait_until(lambda: source.health(0.0).counts.get("vanished"), what="vanished")
        health = source.health(0.0)
        assert health.detail == "not on the bus: air-low"
        assert health.counts["vanished"] == 1
    finally:
        source.stop()


def test_a_missing_folder_and_an_empty_one_are_told(tmp_path: Path) -> None:
    settings = OneWireSettings(name="rail", folder=tmp_path / "devices", every_s=0.05)
    source = OneWireSource(settings, SystemClock())
    source.start(queue.Queue(10))
    try:
        wait_until(lambda: "enable 1-wire" in source.health(0.0).detail, what="folder missing")
        assert source.health(0.0).problem is Reason.SOURCE_SILENT
        (tmp_path / "devices").mkdir()
        wait_until(lambda: "no probe in" in source.health(0.0).detail, what="no probe")
        put(tmp_path / "devices", "28-0316a2795aff", slave(WARM))
        wait_until(lambda: source.health(0.0).connected, what="probe found")
    finally:
        source.stop()
