"""`bagwatt watch` started many times in a short time: forked from a process that has imported it.

What runs in the fork is the whole command, from its words on; only the import is saved. Used
as `with warm() as start: process = start(folder)`.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path


class Forked:
    """A forked `bagwatt watch`; its log is watch.log in the folder it was started on."""

    def __init__(self, pid: int) -> None:
        self.pid = pid

    def running(self) -> bool:
        try:
            os.kill(self.pid, 0)
        except ProcessLookupError:
            return False
        return True

    def end(self, number: signal.Signals, limit_s: float = 10.0) -> None:
        """Send a signal and wait for the end."""
        until_s = time.monotonic() + limit_s
        if self.running():
            os.kill(self.pid, number)
        while self.running():
            assert time.monotonic() < until_s, f"process {self.pid} goes on after {number.name}"
            time.sleep(0.005)


Start = Callable[..., Forked]


@contextmanager
def warm() -> Iterator[Start]:
    """Something that starts `bagwatt watch --config FOLDER ARGUMENTS…` within milliseconds."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.faults.warm"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    assert process.stdin is not None and process.stdout is not None
    asks, answers = process.stdin, process.stdout

    def start(folder: Path, *arguments: str) -> Forked:
        asks.write("\t".join([str(folder), *arguments]) + "\n")
        asks.flush()
        started.append(Forked(int(answers.readline())))
        return started[-1]

    started: list[Forked] = []
    try:
        yield start
    finally:
        for one in started:
            if one.running():
                one.end(signal.SIGKILL)
        asks.close()
        process.wait(10)


def main() -> None:
    import monitor.live  # noqa: F401  # it brings numpy and the rest
    from monitor.cli import main as bagwatt

    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the kernel buries the dead
    for line in sys.stdin:
        folder, *arguments = line.rstrip("\n").split("\t")
        child = os.fork()
        if child:
            print(child, flush=True)
            continue
        log = os.open(f"{folder}/watch.log", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        nothing = os.open(os.devnull, os.O_RDONLY)
        for here, there in ((nothing, 0), (log, 1), (log, 2)):
            os.dup2(here, there)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        code = 70
        try:
            code = bagwatt(["watch", "--config", folder, *arguments])
        finally:
            sys.stdout.flush()
            os._exit(code)


if __name__ == "__main__":
    main()
