"""The page's own thread: it never stops the daemon, and ends within two seconds of being told."""

from __future__ import annotations

import ipaddress
import logging
import socket
import threading
from collections.abc import Callable
from pathlib import Path

import uvicorn

from monitor.clock import Clock
from monitor.page.app import build_app
from monitor.page.latest import Latest
from monitor.page.wire import Wire
from monitor.settings.schema import PageSettings, Settings

RETRY_S = 30.0
STOP_S = 2
MOST_CONNECTIONS = 64
BACKLOG = 64


class PageServer:
    """Serves the page in a thread. A port that is taken is tried again, and said once."""

    def __init__(
        self,
        settings: Settings,
        clock: Clock,
        latest: Latest,
        say: Callable[[str], None],
        sitting_here: str = "",
        config_dir: Path | None = None,
    ) -> None:
        self._page = settings.page or PageSettings()
        self._app = build_app(settings, clock, latest, sitting_here, config_dir)
        self._say = say
        self._stop = threading.Event()
        self._server: uvicorn.Server | None = None
        self._thread = threading.Thread(target=self._run, name="page", daemon=True)
        logging.getLogger("uvicorn").setLevel(logging.CRITICAL)  # it says what we say already

    @property
    def address(self) -> str:
        """Where the page is."""
        return address_of(self._page)

    def start(self) -> None:
        """Begin to serve."""
        self._thread.start()

    def stop(self) -> None:
        """End, also with phones still connected."""
        self._stop.set()
        if self._server is not None:
            self._server.should_exit = True
        self._thread.join(STOP_S + 0.5)

    def _run(self) -> None:
        told = ""
        while not self._stop.is_set():
            trouble = self._serve()
            if trouble and trouble != told:
                hint = "tried again; `bagwatt check` says what to mend"
                self._say(f"the page can't be served at {self.address}: {trouble}; {hint}")
            told = trouble
            self._stop.wait(RETRY_S)

    def _serve(self) -> str:
        """Serve until told to stop; why it couldn't."""
        try:
            listener = listen_at(self._page.listen, self._page.port)
        except OSError as error:
            return error.strerror or str(error)
        with listener:
            config = uvicorn.Config(
                self._app,
                http=Wire,
                log_config=None,
                access_log=False,
                server_header=False,
                date_header=True,
                proxy_headers=False,
                limit_concurrency=MOST_CONNECTIONS,
                timeout_keep_alive=20,
                timeout_graceful_shutdown=STOP_S,
                ssl_certfile=str(self._page.certificate) if self._page.certificate else None,
                ssl_keyfile=str(self._page.key) if self._page.key else None,
            )
            self._server = uvicorn.Server(config)
            self._server.should_exit = self._stop.is_set()
            self._say(f"the page is at {self.address}")
            try:
                self._server.run(sockets=[listener])
            except OSError as error:  # a certificate that can't be used
                return error.strerror or str(error)
        return "" if self._stop.is_set() else "it ended by itself"


def address_of(page: PageSettings) -> str:
    """Where the page is, as one would type it in a browser."""
    host = page.listen
    if ipaddress.ip_address(host).is_unspecified:
        host = page.hosts[0] if page.hosts else socket.gethostname()
    return page.url(host)


def listen_at(host: str, port: int) -> socket.socket:
    """A socket that listens there. Raises OSError."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Only where the protocol is named does asyncio send each answer at once (TCP_NODELAY):
    # without it a browser's delayed acknowledgement costs 40 ms.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen(BACKLOG)
    except OSError:
        listener.close()
        raise
    return listener
