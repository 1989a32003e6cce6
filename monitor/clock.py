"""The only file that asks the time: wall, monotonic, boot, and whether the wall clock is set.

Intervals run on the monotonic clock; the wall clock is for records. `FastClock` runs both
faster than life, for rehearsals and the demo; `AwaitedClock` stands until it is let go.
"""

from __future__ import annotations

import ctypes
import math
import time
import uuid
from pathlib import Path
from typing import Protocol

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_TIMESYNC_MARK = Path("/run/systemd/timesync/synchronized")
_STA_UNSYNC = 0x40
_TIMEX_STATUS_OFFSET = 40  # struct timex on 64-bit Linux: `status` follows five 8-byte fields


class Clock(Protocol):
    """What a driver needs to know about time."""

    def wall_s(self) -> float: ...
    def monotonic_s(self) -> float: ...
    def boot_id(self) -> str: ...
    def synced(self) -> bool: ...
    def real_s(self, interval_s: float) -> float:
        """How long to wait in life for `interval_s` of this clock to pass."""
        ...


def read_boot_id() -> str:
    """The kernel's id of this boot; a fresh random one where the kernel gives none."""
    try:
        return _BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return str(uuid.uuid4())


def kernel_says_synced() -> bool:
    """Whether the wall clock is disciplined: the timesync mark, else the kernel's flag."""
    if _TIMESYNC_MARK.exists():
        return True
    buffer = ctypes.create_string_buffer(256)
    try:
        state = ctypes.CDLL(None, use_errno=True).adjtimex(buffer)
    except (OSError, AttributeError):
        return False
    if state < 0:
        return False
    status = int.from_bytes(buffer.raw[_TIMEX_STATUS_OFFSET : _TIMEX_STATUS_OFFSET + 4], "little")
    return not status & _STA_UNSYNC


class SystemClock:
    """The machine's own clocks; intervals count suspended time (CLOCK_BOOTTIME)."""

    def __init__(self) -> None:
        self._boot = read_boot_id()

    def wall_s(self) -> float:
        return time.time()

    def monotonic_s(self) -> float:
        return time.clock_gettime(time.CLOCK_BOOTTIME)

    def boot_id(self) -> str:
        return self._boot

    def synced(self) -> bool:
        return kernel_says_synced()

    def real_s(self, interval_s: float) -> float:
        return interval_s


class FastClock:
    """A clock that starts at `start_s` and runs `factor` times faster than life.

    `origin_s` is the machine's wall time at which it read `start_s`, so that two processes
    can share one fast time; left out, it is now.
    """

    def __init__(self, start_s: float, factor: float, origin_s: float | None = None) -> None:
        if not factor > 0:
            raise ValueError(f"factor must be above zero, not {factor}")
        self._start_s = start_s
        self._factor = factor
        self._origin_s = time.time() if origin_s is None else origin_s
        self._boot = read_boot_id()

    def wall_s(self) -> float:
        return self._start_s + self._gone_s() * self._factor

    def monotonic_s(self) -> float:
        return time.clock_gettime(time.CLOCK_BOOTTIME) * self._factor

    def boot_id(self) -> str:
        return self._boot

    def synced(self) -> bool:
        return True

    def real_s(self, interval_s: float) -> float:
        return interval_s / self._factor

    def _gone_s(self) -> float:
        """Seconds of life since the origin."""
        return time.time() - self._origin_s


class AwaitedClock(FastClock):
    """A fast clock that stands at `start_s` until a file holds its origin (s since 1970).

    What is watched begins when all is ready, however long that took.
    """

    def __init__(self, start_s: float, factor: float, file: Path) -> None:
        super().__init__(start_s, factor, math.inf)
        self._file = file
        self._stood_s = time.clock_gettime(time.CLOCK_BOOTTIME)

    def monotonic_s(self) -> float:
        return (self._stood_s + self._gone_s()) * self._factor

    def _gone_s(self) -> float:
        """Seconds of life since the origin, 0 before it."""
        if math.isinf(self._origin_s):
            try:
                self._origin_s = float(self._file.read_text(encoding="ascii"))
            except FileNotFoundError:
                return 0.0
        return max(0.0, super()._gone_s())


def process_seconds() -> float:
    """Seconds on a steady clock, for telling how long work took."""
    return time.perf_counter()
