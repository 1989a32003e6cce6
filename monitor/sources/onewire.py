"""1-Wire thermometers through the file tree of the Linux kernel (w1_therm)."""

from __future__ import annotations

import queue
import threading
from pathlib import Path

from monitor.clock import Clock
from monitor.settings.schema_sources import OneWireSettings
from monitor.sources.fields import make_reading
from monitor.sources.numbers import UnreadableError
from monitor.sources.scratchpad import FAMILIES, read_w1_slave
from monitor.sources.source import Packet, SourceHealth, Standing, put_patiently
from monitor.sources.times import unstated
from monitor.sources.units import Unit
from monitor.values import Decoded, Reason

_LONGEST_FILE = 512
#: Life seconds between two rounds at the least, however fast the clock.
_SHORTEST_PAUSE_S = 0.02


class OneWireSource:
    """Reads every probe of the folder in turn; a reading blocks its own thread for 0.75 s."""

    def __init__(self, settings: OneWireSettings, clock: Clock) -> None:
        self.name = settings.name
        self._settings = settings
        self._clock = clock
        self._standing = Standing(self.name, Reason.SOURCE_SILENT, "not started")
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._seen: set[str] = set(settings.probes)
        self._missing: set[str] = set()

    def start(self, sink: queue.Queue[Packet]) -> None:
        self._stopping.clear()
        self._thread = threading.Thread(
            target=self._run, args=(sink,), name=f"onewire {self.name}", daemon=True
        )
        self._thread.start()

    def decode(self, packet: Packet) -> Decoded:
        probe = self._settings.probes.get(packet.topic, packet.topic)
        try:
            value_c = read_w1_slave(packet.payload, packet.topic[:2])
        except UnreadableError as error:
            detail = f"{probe}: {error.detail}"
            return Decoded(refused=(packet.refused(error.reason, detail),))
        return Decoded((make_reading(packet, probe, value_c, Unit.CEL, unstated(packet)),))

    def acknowledge(self, packet: Packet) -> None:
        """Nothing to do: a probe is asked again anyway."""

    def health(self, monotonic_s: float) -> SourceHealth:
        return self._standing.health()

    def stop(self) -> None:
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(timeout=2.0)  # a probe that hangs is left to its daemon thread

    def _run(self, sink: queue.Queue[Packet]) -> None:
        while not self._stopping.is_set():
            try:
                self._round(sink)
            except OSError as error:
                self._standing.down(Reason.SOURCE_SILENT, _folder_fault(self._settings, error))
            pause_s = self._clock.real_s(self._settings.every_s)
            self._standing.turned(pause_s)
            self._stopping.wait(max(pause_s, _SHORTEST_PAUSE_S))

    def _round(self, sink: queue.Queue[Packet]) -> None:
        folders = self._settings.folder.iterdir()
        roms = {folder.name for folder in folders if folder.name[:3] in _PREFIXES}
        for rom in sorted(roms):
            if self._stopping.is_set():
                return
            self._read(sink, rom)
        self._seen |= roms
        self._tell_missing(self._seen - roms)

    def _read(self, sink: queue.Queue[Packet], rom: str) -> None:
        self._standing.turned()
        path: Path = self._settings.folder / rom / "w1_slave"
        try:
            with path.open("rb") as file:
                text = file.read(_LONGEST_FILE)
        except OSError:
            self._standing.count("read errors")
            return
        now_s = self._clock.monotonic_s()
        self._standing.heard(now_s)
        packet = Packet(self.name, text, rom, self._clock.wall_s(), now_s)
        put_patiently(sink, packet, self._stopping, self._standing)

    def _tell_missing(self, missing: set[str]) -> None:
        """Probes drop off the bus until their power is cycled; say which."""
        self._standing.count("vanished", len(missing - self._missing))
        self._missing = missing
        if not self._seen:
            text = f"no probe in {self._settings.folder}: check the wiring and the pull-up resistor"
            self._standing.down(Reason.SOURCE_SILENT, text)
            return
        names = sorted(self._settings.probes.get(rom, rom) for rom in missing)
        self._standing.up(f"not on the bus: {', '.join(names)}" if names else "")


_PREFIXES = tuple(f"{family}-" for family in FAMILIES)


def _folder_fault(settings: OneWireSettings, error: OSError) -> str:
    why = error.strerror or type(error).__name__
    return f"{settings.folder}: {why}; enable 1-wire (dtoverlay=w1-gpio) or mend `folder`"
