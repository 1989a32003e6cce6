"""A whole watch in trouble: every channel fails, a source hangs. It tells no secret, makes no
file others may read, and ends in time."""

from __future__ import annotations

import signal
import stat
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.errors import StoreError
from monitor.store import open_reader
from tests.broker import Broker, running_broker
from tests.pings import Switch
from tests.receivers import HttpReceiver
from tests.security.house import SECRETS, House
from tests.waiting import wait_until

STOP_WITHIN_S = 5.0


@pytest.fixture
def parts(tmp_path: Path) -> Iterator[tuple[House, Broker, HttpReceiver, HttpReceiver, Switch]]:
    """The house, a broker that wants the password, an owner's channel that answers 500, a
    hand's channel that hangs, a dead man's switch that answers 404."""
    where = tmp_path / "mosquitto"
    where.mkdir()
    passwords = where / "passwords"
    made = ["mosquitto_passwd", "-c", "-b", str(passwords), "bagwatt", SECRETS["broker"]]
    subprocess.run(made, check=True)
    with (
        running_broker(where, f"allow_anonymous false\npassword_file {passwords}") as broker,
        HttpReceiver("500") as owner,
        HttpReceiver("hang") as hand,
        Switch("404") as switch,
    ):
        folder = tmp_path / "bagwatt"
        folder.mkdir()
        port = int(switch.url.split(":")[2].split("/")[0])
        yield House(folder, broker.port, owner.port, hand.port, port), broker, owner, hand, switch


def told_of(path: Path) -> set[str]:
    """What the house alarms of a store are about."""
    if not path.exists():
        return set()
    try:
        with open_reader(path) as store:
            return {event.subject for event in store.events()}
    except StoreError:
        return set()


def told_neighbours(broker: Broker) -> str:
    """All that stands on the broker of our room."""
    login = ["-p", str(broker.port), "-u", "bagwatt", "-P", SECRETS["broker"]]
    command = ["mosquitto_sub", *login, "-t", "bagwatt/rooms/#", "-v", "--retained-only", "-W", "1"]
    return subprocess.run(command, capture_output=True, text=True, check=False).stdout


def test_a_watch_in_trouble_tells_no_secret_and_ends_in_time(
    parts: tuple[House, Broker, HttpReceiver, HttpReceiver, Switch],
) -> None:
    house, broker, owner, hand, switch = parts
    path = house.folder / "bagwatt.db"
    with house.watching() as process:
        wait_until(lambda: hand.asked and len(owner.asked) >= 3, 30, "tries of both channels")
        wait_until(lambda: {"channel owner", "channel heartbeat"} <= told_of(path), 30, "alarms")
        wait_until(lambda: "mirror" in told_of(path), 30, "the mirror's alarm")
        assert switch.asked[0] == f"/{SECRETS['beat']}"
        command_line = Path(f"/proc/{process.pid}/cmdline").read_bytes()
        wait_until(lambda: "channel owner" in told_neighbours(broker), 20, "neighbours are told")
        told = told_neighbours(broker)
        assert "/alarms/" in told and "/summary" in told and "/claim/" in told
        printed = house.run("alarms", "--json", "--history", "30 d")
        began_s = time.monotonic()
        process.send_signal(signal.SIGTERM)
        log = process.communicate(timeout=10)[0]
        assert process.returncode == 0
        assert time.monotonic() - began_s < STOP_WITHIN_S
    hand.mood = "404"  # `check` waits for its answer
    printed += house.run("check", "--listen", "1", "--send", "--json")
    said = {"log": log.encode(), "commands": printed.encode(), "process list": command_line}
    said["neighbours"] = told.encode()
    kept = {one.name: one.read_bytes() for one in house.folder.glob("bagwatt.db*")}
    assert "owner" in log  # there was trouble to tell of
    assert "bagwatt.db" in kept
    for where, text in (said | kept).items():
        for secret in SECRETS.values():
            assert secret.encode() not in text, f"{secret} in {where}"
    for one in house.folder.glob("bagwatt.db*"):
        assert not stat.S_IMODE(one.stat().st_mode) & 0o077, f"others may read {one.name}"


def test_a_source_that_hangs_and_a_channel_that_hangs_do_not_keep_the_end_up(
    parts: tuple[House, Broker, HttpReceiver, HttpReceiver, Switch],
) -> None:
    """SIGTERM while a try is under way and a probe has not answered: the log says stopped."""
    house, _, _, hand, _ = parts
    with house.watching() as process:
        wait_until(lambda: hand.asked, 30, "a try that hangs")
        began_s = time.monotonic()
        process.send_signal(signal.SIGTERM)
        log = process.communicate(timeout=10)[0]
        assert time.monotonic() - began_s < STOP_WITHIN_S
        assert process.returncode == 0
        assert log.rstrip().endswith("stopped")


def test_a_loose_secret_file_is_refused(tmp_path: Path) -> None:
    house = House(tmp_path, 1, 1, 1, 1)
    (tmp_path / "secrets" / "owner").chmod(0o644)
    told = house.run("check")
    assert "others may read" in told
    assert SECRETS["owner"] not in told
