"""What a process cost: its processor time, memory and bytes written, as the kernel counts them."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from demo.stage import find_broker

_TICK_S = 1.0 / os.sysconf("SC_CLK_TCK")
#: Whoever measures waits no longer than this for what it measures [s].
PATIENCE_S = 300.0


def needed_broker() -> str:
    """The mosquitto of this machine; ends the bench with a word where there is none."""
    program = find_broker()
    if program is None:
        raise SystemExit("mosquitto is not installed: `sh tests/run` installs it")
    return program


def cpu_s(pid: int) -> float:
    """User and system time of a process and all its threads so far [s]."""
    # after the name in brackets: state is field 3, utime 14 and stime 15 (proc(5))
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) * _TICK_S


def resident_mib(pid: int | str = "self", what: str = "VmRSS") -> float:
    """Resident memory; `VmHWM` for the most there ever was."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="utf-8").splitlines():
        if line.startswith(f"{what}:"):
            return int(line.split()[1]) / 1024
    return 0.0


def disk_bytes(pid: int | str = "self") -> int:
    """What a process made the kernel send to the disk (`write_bytes`, whole pages)."""
    for line in Path(f"/proc/{pid}/io").read_text(encoding="ascii").splitlines():
        if line.startswith("write_bytes:"):
            return int(line.split()[1])
    return 0


def wait_for(holds: Callable[[], bool], what: str, pause_s: float = 0.02) -> None:
    """Return once `holds()`; TimeoutError after a while."""
    until_s = time.monotonic() + PATIENCE_S
    while not holds():
        if time.monotonic() > until_s:
            raise TimeoutError(what)
        time.sleep(pause_s)


@contextmanager
def started(words: Sequence[str], log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """`python WORDS…` as a process of its own for the length of a `with`."""
    with log.open("ab") as out:
        process = subprocess.Popen([sys.executable, *words], stdout=out, stderr=out)
    try:
        yield process
    finally:
        process.terminate()
        process.wait(30)


def middle(values: Sequence[float]) -> str:
    """The median with its range, for people."""
    return f"{median(values):.4g} ({min(values):.4g} to {max(values):.4g})"
