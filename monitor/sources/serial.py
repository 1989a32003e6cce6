"""A serial port that sends lines, through pyserial; unplugged and plugged in again at will."""

from __future__ import annotations

import queue
import termios
import threading
from typing import TYPE_CHECKING

from monitor.clock import Clock
from monitor.settings.schema_sources import SerialSettings
from monitor.sources.lines import LineAssembler, LineDecoder
from monitor.sources.source import Packet, SourceHealth, Standing, put_patiently
from monitor.values import Decoded, Reason

if TYPE_CHECKING:
    from serial import Serial

#: Each opening resets many boards, so a lost port is not tried in a tight loop.
SHORTEST_BACK_OFF_S = 1.0
LONGEST_BACK_OFF_S = 30.0
#: What goes wrong with a port: pyserial's errors are OSErrors, its settings raise ValueError,
#: flushing raises termios.error, and a port closed meanwhile answers with TypeError.
_PORT_FAULTS = (OSError, ValueError, TypeError, termios.error)


class SerialSource:
    """Reads lines in its own thread; any fault of the port means close, forget, open again."""

    def __init__(self, settings: SerialSettings, clock: Clock) -> None:
        self.name = settings.name
        self._settings = settings
        self._clock = clock
        self._decoder = LineDecoder(settings.line, settings.max_line_bytes)
        self._assembler = LineAssembler(settings.max_line_bytes)
        self._standing = Standing(self.name, Reason.PORT_LOST, "not started")
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._generation = 0

    def start(self, sink: queue.Queue[Packet]) -> None:
        self._stopping.clear()
        self._thread = threading.Thread(
            target=self._run, args=(sink,), name=f"serial {self.name}", daemon=True
        )
        self._thread.start()

    def decode(self, packet: Packet) -> Decoded:
        return self._decoder.decode(packet)

    def acknowledge(self, packet: Packet) -> None:
        """Nothing to do: a line can't be given back."""

    def health(self, monotonic_s: float) -> SourceHealth:
        return self._standing.health()

    def stop(self) -> None:
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(timeout=3.0)

    def _run(self, sink: queue.Queue[Packet]) -> None:
        back_off_s = SHORTEST_BACK_OFF_S
        while not self._stopping.is_set():
            try:
                with self._open() as port:
                    while not self._stopping.is_set():
                        if self._read(port, sink):
                            back_off_s = SHORTEST_BACK_OFF_S
            except _PORT_FAULTS as error:
                self._standing.down(Reason.PORT_LOST, _told(self._settings, error))
                self._standing.count("openings lost")
            self._standing.turned(back_off_s)
            self._stopping.wait(back_off_s)
            back_off_s = min(2 * back_off_s, LONGEST_BACK_OFF_S)

    def _open(self) -> Serial:
        from serial import Serial  # noqa: PLC0415 -- pyserial is imported by who has a port

        port = Serial(str(self._settings.port), self._settings.baud, timeout=0.5, exclusive=True)
        self._generation += 1
        self._assembler.reset()
        self._standing.up()
        return port

    def _read(self, port: Serial, sink: queue.Queue[Packet]) -> bool:
        """Hand over what lines are there; whether any byte came."""
        self._standing.turned()
        data = port.read(max(1, port.in_waiting))
        if not data:
            return False
        now_s = self._clock.monotonic_s()
        lines = self._assembler.feed(data)
        overlong = self._assembler.take_overlong()
        if lines or overlong:
            self._standing.heard(now_s)
        for line in (*overlong, *lines):
            packet = Packet(
                self.name, line, "", self._clock.wall_s(), now_s, generation=self._generation
            )
            put_patiently(sink, packet, self._stopping, self._standing)
        return True


def _told(settings: SerialSettings, error: Exception) -> str:
    """What is wrong with the port and what to do about it."""
    number = getattr(error, "errno", None)
    if number == 2:  # ENOENT
        return f"{settings.port} is not there: is the cable plugged in?"
    if number == 13:  # EACCES
        return f"{settings.port} may not be opened: add bagwatt's user to the group dialout"
    if number in (11, 16):  # EAGAIN of the lock, EBUSY
        return f"{settings.port} is held by another program (a `bagwatt watch`?): stop that one"
    if "Could not configure port" in str(error):  # so pyserial tells of what is no terminal
        return f"{settings.port} is no serial port: name one of /dev/serial/by-id/ in `port`"
    return f"{settings.port}: {error}"
