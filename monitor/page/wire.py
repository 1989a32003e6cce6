"""One connection to the page, ended where its other end keeps it open for nothing.

A phone that leaves the Wi-Fi says no farewell, and uvicorn waits without end for a request that
was never finished: each would take one of the few places, and one of the daemon's open files.
"""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

#: A request that is not whole, or an answer that is not read, at two looks so far apart is
#: given up [s].
LOOK_EVERY_S = 20.0
#: Beyond the connections that are answered; more are hung up on at once.
MOST_OPEN = 128


class Wire(H11Protocol):
    """HTTP as uvicorn speaks it, with a look now and then at who waits for whom."""

    _looked: asyncio.TimerHandle | None = None
    _before: tuple[object, ...] | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        if len(self.connections) > MOST_OPEN:
            transport.abort()
            return
        self._looked = self.loop.call_later(LOOK_EVERY_S, self._look)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._looked is not None:
            self._looked.cancel()
        super().connection_lost(exc)

    def _look(self) -> None:
        """Hang up where we waited for the other end at the last look, and still for the same."""
        waits = self._waits_for()
        if waits is not None and waits == self._before:
            self.transport.abort()
            return
        self._before = waits
        self._looked = self.loop.call_later(LOOK_EVERY_S, self._look)

    def _waits_for(self) -> tuple[object, ...] | None:
        """What the other end owes us: a request, its rest, or to read it; None while we work."""
        cycle: RequestResponseCycle | None = self.cycle
        if cycle is None:
            return ("a request",)
        if cycle.more_body or cycle.response_complete or self.flow.write_paused:
            return cycle, cycle.more_body, cycle.response_complete
        return None
