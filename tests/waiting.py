"""Free ports, and waiting for what other threads and processes do."""

from __future__ import annotations

import itertools
import os
import socket
import time
from collections.abc import Callable

#: Ports below those that the kernel gives to whoever asks for any, so many for each worker.
FIRST_PORT, PORTS = 20_000, 4_000
_drawn = itertools.count(os.getpid())


def free_port() -> int:
    """A port of 127.0.0.1 nobody listens on just now, and no other worker of pytest-xdist draws."""
    worker = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    for number in itertools.islice(_drawn, PORTS):
        port = FIRST_PORT + PORTS * worker + number % PORTS
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise OSError(f"no free port from {FIRST_PORT + PORTS * worker} on")


def wait_until(holds: Callable[[], object], limit_s: float = 10.0, what: str = "it") -> bool:
    """Return True once `holds()` does; fails the test when it does not within `limit_s`."""
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        if holds():
            return True
        time.sleep(0.01)
    if holds():
        return True
    raise AssertionError(f"not within {limit_s:.0f} s: {what}")
