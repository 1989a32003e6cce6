"""A real VictoriaMetrics for tests: own port on 127.0.0.1, own folder, ended by its process id.

It keeps points as the README tells a grower to have them kept: of two at one moment only one
(`-dedup.minScrapeInterval=1ms`). Debian's package has the program; where it is not installed
the test skips.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.error import URLError
from urllib.parse import urlencode
from urllib.request import urlopen

import pytest

from tests.waiting import free_port, wait_until

_START_LIMIT_S = 30.0
_ASK_LIMIT_S = 20.0
MISSING = "victoria-metrics is not installed: `sh tests/run` tries to install it"


def find_victoria() -> str | None:
    """The program, where it is installed."""
    return shutil.which("victoria-metrics", path="/usr/local/bin:/usr/bin")


@dataclass(frozen=True, slots=True)
class Series:
    """One series as it was kept: its labels, and its points (s since 1970, value) in order."""

    labels: dict[str, str]
    points: tuple[tuple[float, float], ...]

    @property
    def name(self) -> str:
        return self.labels["__name__"]


class Victoria:
    """A VictoriaMetrics that can be stopped, killed and started again on the same files."""

    def __init__(self, folder: Path, *options: str, port: int | None = None) -> None:
        program = find_victoria()
        if program is None:
            pytest.skip(MISSING)
        self.port = port or free_port()
        self.process: subprocess.Popen[bytes] | None = None
        self._log = folder / "victoria.log"
        self._command = [
            program,
            f"-httpListenAddr=127.0.0.1:{self.port}",
            f"-storageDataPath={folder / 'victoria'}",
            "-retentionPeriod=100y",  # tests play on days of their own
            "-dedup.minScrapeInterval=1ms",
            "-memory.allowedBytes=64MB",
            *options,
        ]

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        with self._log.open("ab") as log:
            self.process = subprocess.Popen(self._command, stdout=log, stderr=log)
        wait_until(self._answers, _START_LIMIT_S, f"victoria-metrics answers ({self._log})")

    def stop(self) -> None:
        """An orderly end: what it took is on its disk."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(timeout=30)
            self.process = None

    def series(self, match: str = '{__name__!=""}') -> list[Series]:
        """All it keeps of the series that `match`, by name and labels."""
        self._get("/internal/force_flush")
        rows = self._get("/api/v1/export", **{"match[]": match, "start": "0"}).splitlines()
        found = [
            Series(
                row["metric"],
                tuple((at_ms / 1000, value) for at_ms, value in zip(*_pairs(row), strict=True)),
            )
            for row in map(json.loads, rows)
        ]
        return sorted(found, key=lambda one: sorted(one.labels.items()))

    def points(self, match: str = '{__name__!=""}') -> int:
        """How many points it keeps."""
        return sum(len(one.points) for one in self.series(match))

    def _get(self, path: str, **words: str) -> str:
        with urlopen(f"{self.url}{path}?{urlencode(words)}", timeout=_ASK_LIMIT_S) as answer:
            return str(answer.read().decode("utf-8"))

    def _answers(self) -> bool:
        if self.process is not None and self.process.poll() is not None:
            pytest.fail(f"victoria-metrics ended: {self._log.read_text(errors='replace')}")
        try:
            return self._get("/health") == "OK"
        except (URLError, OSError):
            return False


def _pairs(row: dict[str, list[float]]) -> tuple[list[float], list[float]]:
    return row["timestamps"], row["values"]


@contextmanager
def running_victoria(folder: Path, *options: str) -> Iterator[Victoria]:
    """A server for the length of a `with`; `options` are further ones of its command line."""
    server = Victoria(folder, *options)
    server.start()
    try:
        yield server
    finally:
        server.stop()
