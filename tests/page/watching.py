"""A real `bagwatt watch` that goes on from the filled store while the room's probes speak to it."""

from __future__ import annotations

import copy
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from demo.folder import stamp
from demo.stage import SerialLine, wait_for_port, with_checksum
from tests.page.conftest import END_S, Filled
from tests.waiting import free_port

FACTOR = 60.0


@dataclass
class Room:
    """A watched room: the port of its page, its store, and every reading spoken to it."""

    port: int
    store: Path
    line: SerialLine
    spoken: list[tuple[str, str, float]] = field(default_factory=list)
    _voice: threading.Lock = field(default_factory=threading.Lock)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}/"

    def say(self, probe: str, quantity: str, value: float, time_s: float) -> None:
        """One reading over the line, as a logger of the rack says it."""
        text = f"{stamp(time_s)} {probe} {quantity} {value:.4f}"
        with self._voice:
            self.line.say(with_checksum(text))
            self.spoken.append((probe, quantity, time_s))


@contextmanager
def watched_room(filled: Filled, folder: Path, page: str = "") -> Iterator[Room]:
    """Watch a copy of the filled room in `folder` for as long as the context lasts.

    `page` is what else its settings say in the block of the page.
    """
    shutil.copytree(filled.folder, folder, symlinks=True)
    line = SerialLine(folder / "line")
    room = Room(free_port(), folder / "bagwatt.db", line)
    text = (folder / "monitor.yaml").read_text(encoding="utf-8")
    text = text.replace("page: {}", f"page: {{port: {room.port}, {page}}}").replace(
        "grace: 4 min", "grace: 1 min"
    )
    text = text.replace(str(filled.folder / "line"), str(folder / "line"))
    (folder / "monitor.yaml").write_text(text, encoding="utf-8")
    origin_s = time.time()
    command = [str(Path(sys.executable).with_name("bagwatt")), "watch", "--config", str(folder)]
    command += ["--rehearse", f"{stamp(END_S)},{FACTOR:g},{origin_s:.3f}"]
    log = (folder / "watch.log").open("w", encoding="utf-8")
    watch = subprocess.Popen(command, stdout=log, stderr=log)
    over = threading.Event()
    live = copy.deepcopy(filled.live)

    def speak() -> None:
        while not over.wait(0.2):
            for said in live.advance(END_S + (time.time() - origin_s) * FACTOR):
                room.say(said.probe, said.quantity, said.value, said.time_s)

    voice = threading.Thread(target=speak)
    try:
        wait_for_port(room.port, 20.0)
        voice.start()
        yield room
    finally:
        over.set()
        if voice.ident is not None:
            voice.join()
        watch.send_signal(signal.SIGTERM)
        assert watch.wait(10) == 0, (folder / "watch.log").read_text(encoding="utf-8")
        log.close()
        line.close()
