"""A real mosquitto for tests: own port on 127.0.0.1, own folder, ended by its own process id."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.waiting import free_port, wait_until

_START_LIMIT_S = 10.0


class Broker:
    """A mosquitto that can be stopped, killed and started again on the same port and files."""

    def __init__(self, folder: Path, config: str = "", port: int | None = None) -> None:
        program = shutil.which(
            "mosquitto", path="/usr/local/sbin:/usr/sbin:/usr/local/bin:/usr/bin"
        )
        if program is None:
            pytest.fail("mosquitto is not installed: `sh tests/run` installs it")
        self._program = program
        self.port = port or free_port()
        self.process: subprocess.Popen[bytes] | None = None
        self.folder = folder
        self._log = folder / "mosquitto.log"
        self._config = folder / "mosquitto.conf"
        access = "" if "allow_anonymous" in config else "allow_anonymous true\n"
        # started by root, mosquitto would become a user who may not read the test's folder
        user = "user root\n" if os.geteuid() == 0 else ""
        self._config.write_text(
            f"{user}listener {self.port} 127.0.0.1\n{access}"
            f"persistence true\npersistence_location {folder}/\nautosave_interval 1\n"
            f"max_queued_messages 100000\nlog_type all\n{config}\n",
            encoding="utf-8",
        )

    def start(self) -> None:
        with self._log.open("ab") as log:
            command = [self._program, "-c", str(self._config)]
            self.process = subprocess.Popen(command, stdout=log, stderr=log)
        wait_until(self._listens, _START_LIMIT_S, f"mosquitto listens ({self._log})")

    def stop(self) -> None:
        """An orderly end: sessions and queues are saved."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(timeout=5)
            self.process = None

    def log(self) -> str:
        return self._log.read_text(encoding="utf-8", errors="replace")

    def publish(
        self, *messages: tuple[str, str | bytes], qos: int = 1, retain: bool = False
    ) -> None:
        """Publish in order, all acknowledged by the broker on return."""
        from paho.mqtt.publish import multiple

        multiple(
            [{"topic": t, "payload": p, "qos": qos, "retain": retain} for t, p in messages],
            hostname="127.0.0.1",
            port=self.port,
        )

    def _listens(self) -> bool:
        if self.process is not None and self.process.poll() is not None:
            pytest.fail(f"mosquitto ended: {self.log()}")
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0


@contextmanager
def running_broker(folder: Path, config: str = "") -> Iterator[Broker]:
    """A broker for the length of a `with`."""
    broker = Broker(folder, config)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()
