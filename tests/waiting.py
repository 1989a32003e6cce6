"""Free ports, and waiting for what other threads and processes do."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable


def free_port() -> int:
    """A port of 127.0.0.1 nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


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
