"""Serial bytes to lines, and lines to readings by the grammar in the settings. Pure."""

from __future__ import annotations

import re

from monitor.settings.schema_payload import LineSettings
from monitor.sources.checksums import without_checksum
from monitor.sources.fields import FieldReader, make_reading, stamp_of, value_or_refusal
from monitor.sources.numbers import UnreadableError, number_in_text, probe_name, shown
from monitor.sources.source import Packet
from monitor.sources.times import read_time
from monitor.sources.units import quantity_named, unit_named
from monitor.values import Decoded, Reading, Refusal, Refused


class LineAssembler:
    """Cuts a stream of bytes into lines of at most `longest` bytes.

    What comes before the first newline after opening is the rest of a line whose beginning
    nobody saw ("23.4" of "123.4"), so it is dropped. A line that grows too long is dropped up
    to its newline, counted, and its beginning handed out once by `take_overlong`.
    """

    def __init__(self, longest: int) -> None:
        self._longest = longest
        self._buffer = bytearray()
        self._skipping = True
        self._overlong: list[bytes] = []

    def reset(self) -> None:
        """Start anew, as after opening the port."""
        self._buffer.clear()
        self._skipping = True

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that `data` completes, without their endings, blank ones left out."""
        lines: list[bytes] = []
        *complete, rest = data.split(b"\n")
        for part in complete:
            self._grow(part)
            line = bytes(self._buffer).strip(b"\r\0 \t")
            if line and not self._skipping:
                lines.append(line)
            self._buffer.clear()
            self._skipping = False
        self._grow(rest)
        return lines

    def take_overlong(self) -> list[bytes]:
        """The beginnings of lines found too long since the last call."""
        taken, self._overlong = self._overlong, []
        return taken

    def _grow(self, part: bytes) -> None:
        if self._skipping:
            return
        self._buffer += part
        if len(self._buffer) > self._longest + 1:  # one more for a carriage return
            self._overlong.append(bytes(self._buffer[: self._longest + 1]))
            self._buffer.clear()
            self._skipping = True


class LineDecoder:
    """Turns one line into readings; never raises, whatever the bytes."""

    def __init__(self, settings: LineSettings, longest: int) -> None:
        self._settings = settings
        self._longest = longest
        self._pattern = re.compile(settings.pattern)
        self._reader = FieldReader(settings.fields)

    def decode(self, packet: Packet) -> Decoded:
        """Readings and refusals of a packet whose payload is one line."""
        try:
            if len(packet.payload) > self._longest:
                raise UnreadableError(
                    Refusal.TOO_LONG, f"over {self._longest} bytes without a newline"
                )
            body = without_checksum(packet.payload, self._settings.checksum)
            if self._settings.shape == "json":
                return self._reader.decode(packet, body, self._settings.probe)
            outcome = self._match(packet, body)
        except UnreadableError as error:
            outcome = packet.refused(error.reason, error.detail)
        if isinstance(outcome, Refused):
            return Decoded(refused=(outcome,))
        return Decoded((outcome,))

    def _match(self, packet: Packet, body: bytes) -> Reading | Refused:
        """A whole-line match or nothing: half a line may hold a believable number."""
        text = body.decode("utf-8", "replace").strip()
        if not text:
            raise UnreadableError(Refusal.EMPTY, "nothing on the line")
        match = self._pattern.fullmatch(text)
        if match is None:
            raise UnreadableError(Refusal.NO_MATCH, shown(text))
        groups = {name: found for name, found in match.groupdict().items() if found is not None}
        time_format = self._settings.time_format
        read = (lambda: read_time(groups["time"], time_format)) if "time" in groups else None
        stamp, time_fault = stamp_of(packet, read)

        def make() -> Reading:
            quantity = self._settings.quantity
            if "quantity" in groups:
                named = quantity_named(groups["quantity"])
                if named is None:
                    text = f"quantity {shown(groups['quantity'])} is not watched"
                    raise UnreadableError(Refusal.NO_MATCH, text)
                quantity = named
            default = self._settings.unit if quantity is self._settings.quantity else None
            unit = unit_named(groups.get("unit") or default, quantity)
            number = number_in_text(groups.get("value", ""))
            probe = probe_name(groups.get("probe") or self._settings.probe)
            return make_reading(packet, probe, number, unit, stamp)

        return value_or_refusal(packet, time_fault, make)
