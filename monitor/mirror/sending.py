"""Getting points across: a batch that is refused is halved until the rows at fault are found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from monitor.mirror.server import Answer, Server, Word

#: So many rows refused one by one and none taken: the rest is not looked through singly.
ENOUGH_REFUSED = 32


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of points: those `refused` with the reason; `failed`: not across, and why.

    Where it failed, any of them may have been taken: all are to be sent again.
    """

    taken: int = 0
    refused: tuple[tuple[str, str], ...] = ()
    failed: Answer | None = None
    ahead_s: float | None = None


class Sending:
    """Sends batches to one server."""

    def __init__(
        self,
        server: Server,
        sound: Callable[[float], str],
        alive: Callable[[], bool] = lambda: True,
    ) -> None:
        """`sound` gives a point at a moment that no server can find fault with."""
        self._server = server
        self._sound = sound
        self._alive = alive
        self._most = 2**30

    def send(self, lines: Sequence[str], now_s: float) -> Sent:
        """Send all, or find out which the server refuses."""
        refused: list[tuple[str, str]] = []
        taken, ahead_s = 0, None
        waiting = [lines] if lines else []
        checked = False
        while waiting:
            part = waiting.pop()
            if len(part) > self._most:
                waiting += reversed(_halves(part))
                continue
            if not self._alive():
                return Sent(failed=Answer(Word.AGAIN, "stopped"))
            answer = self._server.write(part, now_s)
            ahead_s = answer.ahead_s
            if answer.word is Word.TAKEN:
                taken += len(part)
                continue
            if answer.word not in (Word.ROWS, Word.LARGE):
                return Sent(failed=answer)
            if answer.word is Word.ROWS and not checked:
                checked = True
                if (fault := self._not_the_rows(answer, now_s)) is not None:
                    return Sent(failed=fault)
            hopeless = not taken and len(refused) >= ENOUGH_REFUSED and answer.word is Word.ROWS
            if len(part) == 1 or hopeless:
                refused += [(line, answer.detail) for line in part]
                continue
            if answer.word is Word.LARGE:
                self._most = len(part) // 2
            waiting += reversed(_halves(part))
        return Sent(taken, tuple(refused), None, ahead_s)

    def _not_the_rows(self, answer: Answer, now_s: float) -> Answer | None:
        """Why nothing would be taken: a server that refuses a sound point refuses everything."""
        probe = self._server.write([self._sound(now_s)], now_s)
        if probe.word is Word.TAKEN:
            return None
        if probe.word in (Word.ROWS, Word.LARGE):
            return Answer(Word.REFUSED, f"{answer.detail}; it refuses any point")
        return probe


def _halves(part: Sequence[str]) -> tuple[Sequence[str], Sequence[str]]:
    middle = len(part) // 2
    return part[:middle], part[middle:]
