"""A dead man's switch on 127.0.0.1: counts what is asked of it, and has moods."""

from __future__ import annotations

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Self


class Switch:
    """`mood`: ok, a status such as 503, hang, or drip (a header byte now and then, no end)."""

    def __init__(self, mood: str = "ok") -> None:
        self.mood = mood
        self.asked: list[str] = []
        self.ended = threading.Event()
        switch = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                switch.asked.append(self.path)
                switch.answer(self)

            def log_message(self, format: str, *args: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_port}/beat/s3cret-path?k=v"

    def answer(self, handler: BaseHTTPRequestHandler) -> None:
        if self.mood == "hang":
            self.ended.wait(30)
        elif self.mood == "drip":
            handler.wfile.write(b"HTTP/1.1 200 OK\r\nX-A: ")
            while not self.ended.wait(0.05):
                try:
                    handler.wfile.write(b"a")
                except OSError:
                    return
        else:
            handler.send_response(200 if self.mood == "ok" else int(self.mood))
            handler.send_header("Content-Length", "0")
            handler.end_headers()

    def __enter__(self) -> Self:
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self.ended.set()
        self._server.shutdown()
        self._server.server_close()
