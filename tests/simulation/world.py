"""Virtual time, what happens in it, and the cut that may come at any look at the clock."""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable
from itertools import count

#: Wednesday 25 November 2026, 08:00 UTC; the room was set up two days before.
START_S = 1_795_593_600.0


class PowerCut(BaseException):
    """The process ends here and now. No `except Exception` may stop it."""


class World:
    """The true time, an agenda, and the one source of chance."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.now_s = 0.0
        self.story: list[str] = []
        self.faults = 0
        self._agenda: list[tuple[float, int, Callable[[], None]]] = []
        self._number = count()

    def after(self, delay_s: float, work: Callable[[], None]) -> None:
        heapq.heappush(self._agenda, (self.now_s + delay_s, next(self._number), work))

    def every(self, least_s: float, most_s: float, work: Callable[[], None]) -> None:
        """Do something again and again, at chance intervals."""

        def once() -> None:
            work()
            self.after(self.chance.uniform(least_s, most_s), once)

        self.after(self.chance.uniform(0.0, most_s), once)

    def advance(self, by_s: float) -> None:
        """Let time pass and do what is due meanwhile."""
        until_s = self.now_s + by_s
        while self._agenda and self._agenda[0][0] <= until_s:
            due_s, _, work = heapq.heappop(self._agenda)
            self.now_s = max(self.now_s, due_s)
            work()
        self.now_s = until_s

    def tell(self, line: str, *, fault: bool = True) -> None:
        self.faults += fault
        self.story.append(f"{self.now_s:8.0f} s  {line}")


class VirtualClock:
    """The clock of one boot: it may be behind, not set, step, and be the moment of a cut."""

    def __init__(self, world: World, boot: int, behind_s: float = 0.0, *, synced: bool) -> None:
        self._world = world
        self._boot = boot
        self._booted_s = world.now_s
        self._ahead_s = START_S - behind_s
        self._synced = synced
        self.looks_left: int | None = None

    def wall_s(self) -> float:
        self._look()
        return self._world.now_s + self._ahead_s

    def monotonic_s(self) -> float:
        self._look()
        return self._world.now_s - self._booted_s + 10.0

    def boot_id(self) -> str:
        return f"boot-{self._boot}"

    def synced(self) -> bool:
        return self._synced

    def real_s(self, interval_s: float) -> float:
        return interval_s

    def run_ahead(self, by_s: float) -> None:
        """A bad time server: the clock steps into the future and is said to be set."""
        self._ahead_s, self._synced = START_S + by_s, True

    def set_right(self) -> None:
        """Time synchronisation: the wall clock steps to the truth."""
        self._ahead_s, self._synced = START_S, True

    def _look(self) -> None:
        if self.looks_left is not None:
            self.looks_left -= 1
            if self.looks_left <= 0:
                self.looks_left = None
                raise PowerCut
