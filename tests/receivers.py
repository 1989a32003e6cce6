"""Real receivers on 127.0.0.1 for messages: HTTP in several moods, and SMTP."""

from __future__ import annotations

import json
import threading
from email import message_from_bytes
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

from tests.waiting import free_port


class HttpReceiver:
    """Takes POSTs. `mood`: ok, 500, 404, hang (until closed), drip (a byte now and then, then ok).

    `taken` holds the JSON of what was answered 2xx, `asked` of everything that came in.
    """

    def __init__(self, mood: str = "ok", drip_s: float = 1.0) -> None:
        self.mood = mood
        self.taken: list[dict[str, Any]] = []
        self.asked: list[dict[str, Any]] = []
        self.port = free_port()
        self._drip_s = drip_s
        self._ended = threading.Event()
        self._server: ThreadingHTTPServer | None = None

    @property
    def url(self) -> str:
        return f"json://127.0.0.1:{self.port}/alerts"

    @property
    def titles(self) -> list[str]:
        return [one["title"] for one in self.taken]

    def __enter__(self) -> Self:
        self.up()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self.down()

    def up(self) -> None:
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                receiver._answer(self)

            def log_message(self, format: str, *args: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self._server.daemon_threads = True
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def down(self) -> None:
        """From now on connections are refused."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def _answer(self, handler: BaseHTTPRequestHandler) -> None:
        body = json.loads(handler.rfile.read(int(handler.headers["Content-Length"])))
        self.asked.append(body)
        mood = self.mood
        if mood == "hang":
            self._ended.wait(30.0)
            return
        if mood.isdigit():
            handler.send_response(int(mood))
            handler.send_header("Content-Length", "0")
            handler.end_headers()
            return
        text = b"taken" if mood == "ok" else b"." * 8
        handler.send_response(200)
        handler.send_header("Content-Length", str(len(text)))
        handler.end_headers()
        for byte in text:
            if mood == "drip":
                self._ended.wait(self._drip_s / len(text))
            handler.wfile.write(bytes([byte]))
            handler.wfile.flush()
        self.taken.append(body)


class SmtpReceiver:
    """Takes mail; `reply` is what DATA is answered with, such as 250 or 451."""

    def __init__(self) -> None:
        self.reply = "250 taken"
        self.taken: list[Message] = []
        self.port = free_port()
        self._controller = Controller(
            self,
            hostname="127.0.0.1",
            port=self.port,
            auth_require_tls=False,
            authenticator=lambda *_: AuthResult(success=True),
        )

    @property
    def url(self) -> str:
        return (
            f"mailto://grower:pw@127.0.0.1:{self.port}/"
            "?from=bagwatt@quarry-lane.example&to=grower@quarry-lane.example&mode=insecure"
        )

    async def handle_DATA(self, server: object, session: object, envelope: Any) -> str:  # noqa: N802
        if self.reply.startswith("2"):
            self.taken.append(message_from_bytes(envelope.content))
        return self.reply

    def __enter__(self) -> Self:
        self._controller.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._controller.stop()
