"""What stands around the demo: settings, a serial line, a broker if there is one, a receiver."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import termios
import threading
import time
import tty
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

BROKER_PLACES = "/usr/sbin:/usr/local/sbin"


class SerialLine:
    """One end of a pseudo-terminal; the other is where the real serial source opens its port."""

    def __init__(self, link: Path) -> None:
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        self._as_made = termios.tcgetattr(self._theirs)
        link.symlink_to(os.ttyname(self._theirs))
        self.port = link

    def heard(self) -> bool:
        """Whether somebody has opened the port, and set it as they need it."""
        return termios.tcgetattr(self._theirs) != self._as_made

    def say(self, line: str) -> None:
        os.write(self._ours, line.encode("ascii") + b"\r\n")

    def close(self) -> None:
        os.close(self._ours)
        os.close(self._theirs)


class Receiver:
    """A phone's stand-in on loopback: takes each message that is posted and shows it."""

    def __init__(self, show: Callable[[str, str], None]) -> None:
        receiver = self
        self.taken: list[tuple[str, str]] = []

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
                message = json.loads(body)
                receiver.taken.append((message["title"], message["message"]))
                show(message["title"], message["message"])
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """The messages are the log."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


class Broker:
    """A mosquitto of the demo's own on a free port of loopback."""

    def __init__(self, command: str, folder: Path) -> None:
        self.port = free_port()
        settings = folder / "mosquitto.conf"
        settings.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
            "max_queued_messages 100000\n",
            encoding="utf-8",
        )
        self._process = subprocess.Popen(
            [command, "-c", str(settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        wait_for_port(self.port)
        import paho.mqtt.client as mqtt  # noqa: PLC0415

        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="quarry-lane-probes")
        self._watched = threading.Event()
        self._client.on_connect = lambda client, *_: client.subscribe("bagwatt/+/standing", qos=1)
        self._client.on_message = lambda *_: self._watched.set()
        self._client.connect("127.0.0.1", self.port)
        self._client.loop_start()

    def heard(self) -> bool:
        """Whether a monitor has said that it watches, which it does once it has subscribed."""
        return self._watched.is_set()

    def publish(self, topic: str, text: str) -> None:
        self._client.publish(topic, text, qos=1)

    def keep(self, topic: str, payload: bytes) -> None:
        """Publish what the broker then keeps; returns once it has it."""
        self._client.publish(topic, payload, qos=1, retain=True).wait_for_publish(5.0)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        self._process.terminate()
        self._process.wait(5)


def find_broker() -> str | None:
    """Where mosquitto is installed, if it is."""
    return shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:{BROKER_PLACES}")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for_port(port: int, limit_s: float = 5.0) -> None:
    """Return once something listens; OSError when nothing does in time."""
    deadline_s = time.monotonic() + limit_s
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), 0.2).close()
            return
        except OSError:
            if time.monotonic() > deadline_s:
                raise
            time.sleep(0.05)


def write_settings(
    folder: Path, strains: Path, serial_port: Path, broker_port: int | None, receiver_port: int
) -> None:
    """The settings of the demo's room; strains are the shipped ones."""
    (folder / "secrets").mkdir()
    secret = folder / "secrets" / "owner-phone"
    secret.touch(mode=0o600)
    secret.write_text(f"json://127.0.0.1:{receiver_port}/\n", encoding="utf-8")
    shutil.copy(strains, folder / "strains.yaml")
    broker = (
        f"""
  - kind: mqtt
    name: broker
    host: 127.0.0.1
    port: {broker_port}
    topics:
      - topic: "quarry/{{probe}}"
        payload:
          shape: json
          fields:
            - {{value: /t, unit: Cel, time_at: /at, time_format: iso 8601}}"""
        if broker_port
        else ""
    )
    (folder / "monitor.yaml").write_text(
        f"""\
room:
  name: Quarry Lane spawn run
  folder: room
  timezone: Europe/London
  band_low: 17 C
  band_high: 25 C
sources:
  - kind: serial
    name: rack line
    port: {serial_port}
    baud: 115200
    line:
      pattern: '(?P<time>\\S+) (?P<probe>\\S+) (?P<quantity>\\w+) (?P<value>-?\\d+\\.\\d+)'
      time_format: iso 8601
      checksum: xor8{broker}
recipients:
  - name: owner
    urls: [{{file: secrets/owner-phone}}]
    least_urgency: today
store:
  path: bagwatt.db
  commit_every: 10 ms
frames:
  grace: 4 min
""",
        encoding="utf-8",
    )


def with_checksum(text: str) -> str:
    """A serial line with `*` and the exclusive-or of its bytes, as many loggers send it."""
    total = 0
    for byte in text.encode("ascii"):
        total ^= byte
    return f"{text}*{total:02X}"
