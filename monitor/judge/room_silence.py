"""A power cut as probes see it: all of them silent at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.values import Frame

#: Probes that must have spoken before their common silence says anything.
FEW_PROBES = 3
#: Silent frames before it is a cut, and the most a room's habit may stretch that.
LEAST_FRAMES = 3
MOST_FRAMES = 9
#: A probe unheard for so long while others spoke is no longer one of the voices.
FORGET_S = 2 * 3600.0
#: Share of voices that may go on (a probe with a battery) in a cut.
STILL_HEARD = 0.1


class Silence:
    """Counts frames in which nearly all probes are silent, against the room's own habit.

    Probes that all send once in half an hour leave two frames in three empty: the longest
    run of silent frames that ended by itself is the habit, and a cut is two more than that.
    Frames that were never closed, because nobody listened, say nothing: the count begins anew.
    """

    def __init__(self) -> None:
        self._heard: dict[str, float] = {}
        self._run = 0
        self._habit = 0
        self._closed_s: float | None = None
        self.since_s: float | None = None

    def step(self, frame: Frame) -> bool:
        """Whether the room is silent at the frame's end."""
        voices = {f"air {name}" for name in frame.air_c}
        voices |= {f"air {name}" for name in frame.humidity}
        voices |= {f"bag {bag}" for bag in frame.surface_c}
        if self._closed_s is not None and frame.end_s - self._closed_s > 1.5 * frame.length_s:
            self._heard, self._run, self.since_s = {}, 0, None
        self._closed_s = frame.end_s
        known = len(self._heard)
        if known >= FEW_PROBES and len(voices & self._heard.keys()) <= STILL_HEARD * known:
            if not self._run:
                self.since_s = max(self._heard.values())
            self._run += 1
        else:
            if 0 < self._run < self._needed():
                self._habit = max(self._habit, self._run)
            self._run, self.since_s = 0, None
            self._heard |= dict.fromkeys(sorted(voices), frame.end_s)
            self._heard = {
                voice: at_s for voice, at_s in self._heard.items() if frame.end_s - at_s <= FORGET_S
            }
        return self._run >= self._needed()

    @property
    def voices(self) -> int:
        """Probes that spoke within the last hours, or did before the silence began."""
        return len(self._heard)

    def _needed(self) -> int:
        return min(MOST_FRAMES, max(LEAST_FRAMES, self._habit + 2))

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "heard": dict(self._heard),
            "run": self._run,
            "habit": self._habit,
            "closed_s": self._closed_s,
            "since_s": self.since_s,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._heard = {voice: float(at_s) for voice, at_s in state["heard"].items()}
        self._run, self._habit = int(state["run"]), int(state["habit"])
        self._closed_s = state["closed_s"]
        self.since_s = state["since_s"]
