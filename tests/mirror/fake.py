"""A server of time series on 127.0.0.1 that answers as badly as asked.

It keeps points as such servers do: one value for each series, field and moment. Its answers
follow InfluxDB's v2 write API (InfluxData's documentation of /api/v2/write, from memory): 204;
400 with `code` and `message` for a partial write, the sound rows kept; 401, 404, 413, 429, 503.
"""

from __future__ import annotations

import json
from email.utils import formatdate
from http.server import BaseHTTPRequestHandler
from urllib.parse import parse_qs, urlsplit

from monitor.settings.schema_mirror import MirrorSettings
from monitor.settings.secrets import Secret
from tests.receivers import HttpReceiver

TOKEN = "quarry-lane-token"


class FakeServer(HttpReceiver):
    """Moods: ok, slow, hang, drip, silent (takes and cuts off), or a status such as 503.

    `bad` is a text: rows with it are refused. `most_bytes` is the largest request taken.
    `headers` go with every answer; `clock_s` is what its Date says, if it says one.
    """

    def __init__(self, mood: str = "ok", drip_s: float = 60.0) -> None:
        super().__init__(mood, drip_s)
        self.points: dict[tuple[str, str, int], float] = {}
        self.bad = ""
        self.most_bytes = 2**30
        self.headers: dict[str, str] = {}
        self.clock_s: float | None = None
        self.requests: list[list[str]] = []

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def settings(self, **words: object) -> MirrorSettings:
        """Settings of a mirror to here."""
        known: dict[str, object] = {
            "url": self.url,
            "site": "Quarry Lane",
            "org": "farm",
            "token": Secret(TOKEN),
            "every_s": 1.0,
        }
        return MirrorSettings(**(known | words))  # type: ignore[arg-type]

    def _answer(self, handler: BaseHTTPRequestHandler) -> None:
        body = handler.rfile.read(int(handler.headers["Content-Length"]))
        lines = body.decode("utf-8").splitlines()
        self.requests.append(lines)
        words = parse_qs(urlsplit(handler.path).query)
        if self.mood == "slow":
            self._ended.wait(self._drip_s)
        if self.mood == "hang":
            self._ended.wait(30.0)
        elif self.mood == "silent":
            self._keep(lines)
            handler.close_connection = True
        elif self.mood.isdigit():
            self._say(handler, int(self.mood), f"as asked: {self.mood}")
        elif handler.headers["Authorization"] != f"Token {TOKEN}":
            self._say(handler, 401, "unauthorized access")
        elif words["bucket"] != ["bagwatt"] or words["org"] != ["farm"]:
            self._say(handler, 404, f'bucket "{words["bucket"][0]}" not found')
        elif len(body) > self.most_bytes:
            self._say(handler, 413, "request too large")
        else:
            assert words["precision"] == ["ms"]
            refused = [line for line in lines if self.bad and self.bad in line]
            self._keep([line for line in lines if line not in refused])
            if refused:
                self._say(handler, 400, f"partial write: {self.bad}; dropped={len(refused)}")
            else:
                self._say(handler, 200 if self.mood == "drip" else 204, "")

    def _keep(self, lines: list[str]) -> None:
        for line in lines:
            series, fields, at_ms = line.rsplit(" ", 2)
            for field in fields.split(","):
                name, value = field.split("=")
                self.points[series, name, int(at_ms)] = float(value)

    def _say(self, handler: BaseHTTPRequestHandler, status: int, message: str) -> None:
        text = json.dumps({"code": "invalid", "message": message}).encode() if message else b""
        if self.mood == "drip":
            text = b"." * 600
        handler.send_response_only(status)
        if self.clock_s is not None:
            handler.send_header("Date", formatdate(self.clock_s, usegmt=True))
        for name, value in self.headers.items():
            handler.send_header(name, value)
        handler.send_header("Content-Length", str(len(text)))
        handler.end_headers()
        if self.mood != "drip":
            handler.wfile.write(text)
            return
        for byte in text:
            if self._ended.wait(self._drip_s / len(text)):
                return
            handler.wfile.write(bytes([byte]))
            handler.wfile.flush()
