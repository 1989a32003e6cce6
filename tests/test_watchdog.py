"""systemd is told what is true: ready, at work, stopping; and nothing while a part stands still."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor import watchdog
from monitor.watchdog import Notifier, Part, Watchdog


class Listener:
    """systemd's end of the notification socket."""

    def __init__(self, address: str) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind("\0" + address[1:] if address[0] == "@" else address)
        self._socket.setblocking(False)

    def lines(self) -> list[str]:
        found: list[str] = []
        while True:
            try:
                found += self._socket.recv(4096).decode().split("\n")
            except BlockingIOError:
                return found

    def close(self) -> None:
        self._socket.close()


@pytest.fixture(params=["path", "abstract"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Both kinds that man sd_notify names."""
    return str(tmp_path / "n") if request.param == "path" else f"@bagwatt-test-{tmp_path.name}"


@pytest.fixture
def listener(address: str) -> Iterator[Listener]:
    one = Listener(address)
    yield one
    one.close()


def test_ready_watchdog_and_stopping_are_told(address: str, listener: Listener) -> None:
    dog = Watchdog(Notifier(address))
    dog.ready()
    assert dog.look([Part("outbox", 1.0, 60.0)]) == ()
    dog.stopping()
    assert listener.lines() == [
        "READY=1", "WATCHDOG=1", "STATUS=watching", "STOPPING=1", "STATUS=stopping",
    ]  # fmt: skip


@pytest.mark.parametrize("name", ["outbox", "judge", "source barn"])
def test_a_part_that_stands_still_starves_the_watchdog(name: str, tmp_path: Path) -> None:
    listener = Listener(str(tmp_path / "n"))
    dog = Watchdog(Notifier(str(tmp_path / "n")))
    assert dog.look([Part("fine", 0.0, 60.0), Part(name, 61.0, 60.0)]) == (name,)
    assert listener.lines() == [f"STATUS=standing still: {name}"]
    assert not dog.alive()
    dog.look([Part("fine", 0.0, 60.0), Part(name, 0.0, 60.0)])
    assert "WATCHDOG=1" in listener.lines()
    assert dog.alive()
    listener.close()


def test_a_fault_no_restart_cures_withholds_only_the_heartbeat(tmp_path: Path) -> None:
    """A full disk is no reason to lose what is judged from memory."""
    listener = Listener(str(tmp_path / "n"))
    dog = Watchdog(Notifier(str(tmp_path / "n")))
    assert dog.look([], ["disk full"]) == ()
    assert "WATCHDOG=1" in listener.lines()
    assert not dog.alive()
    listener.close()


def test_a_main_loop_that_no_longer_looks_is_not_alive(monkeypatch: pytest.MonkeyPatch) -> None:
    now_s = [1000.0]
    monkeypatch.setattr(watchdog, "process_seconds", lambda: now_s[0])
    dog = Watchdog(Notifier())
    assert not dog.alive()  # nothing was looked at yet
    dog.look([])
    assert dog.alive()
    now_s[0] += watchdog.STALE_S + 1
    assert not dog.alive()


def test_a_socket_that_is_gone_stops_nothing(tmp_path: Path) -> None:
    dog = Watchdog(Notifier(str(tmp_path / "gone")))
    dog.ready()
    assert dog.look([]) == ()
