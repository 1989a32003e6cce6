"""A line to a broker that can be cut: nothing comes through, and nobody is told."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress

from tests.waiting import free_port

_CHUNK = 65536


class Line:
    """Forwards a port of 127.0.0.1 to another. While cut it takes connections and lets nothing
    through, as a network does whose switch has no power; mended it breaks the old ones."""

    def __init__(self, to_port: int) -> None:
        self.port = free_port()
        self._to_port = to_port
        self._open = threading.Event()
        self._open.set()
        self._ended = False
        self._pairs: list[tuple[socket.socket, socket.socket]] = []
        self._lock = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", self.port))
        threading.Thread(target=self._accept, name="line", daemon=True).start()

    def cut(self) -> None:
        """From now on no byte passes."""
        self._open.clear()

    def mend(self) -> None:
        """Connections of before are broken; new ones pass."""
        with self._lock:
            pairs, self._pairs = self._pairs, []
            for pair in pairs:
                for end in pair:
                    with suppress(OSError):
                        end.shutdown(socket.SHUT_RDWR)
            self._open.set()

    def close(self) -> None:
        self._ended = True
        self._listener.close()
        self.mend()

    def _accept(self) -> None:
        while not self._ended:
            try:
                here, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._join, args=(here,), daemon=True).start()

    def _join(self, here: socket.socket) -> None:
        self._open.wait()
        try:
            there = socket.create_connection(("127.0.0.1", self._to_port), 5.0)
        except OSError:
            here.close()
            return
        there.settimeout(None)
        pair = (here, there)
        with self._lock:
            self._pairs.append(pair)
        ends = [
            threading.Thread(target=self._pass, args=way, daemon=True) for way in (pair, pair[::-1])
        ]
        for end in ends:
            end.start()
        for end in ends:
            end.join()
        for end in pair:
            end.close()

    def _pass(self, here: socket.socket, there: socket.socket) -> None:
        """One way. What had come when the line was cut waits; once mended the connection is gone
        and nothing of it arrives, as where a router forgot it."""
        with suppress(OSError):
            while data := here.recv(_CHUNK):
                self._open.wait()
                there.sendall(data)
        with suppress(OSError):
            there.shutdown(socket.SHUT_WR)
