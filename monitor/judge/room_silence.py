"""A power cut as probes see it: all of them silent at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from monitor.judge.pace import Pace
from monitor.values import Frame

#: Probes that must have spoken before their common silence says anything.
FEW_PROBES = 3
#: Silent frames before a probe is overdue, whatever its pace.
LEAST_FRAMES = 3
#: A probe unheard for so long while others spoke is no longer one of the voices; one that rests
#: for hours, or may, is one for longer: without them a few that don't would speak for all.
FORGET_S = 2 * 3600.0
FORGET_SLOW_S = 6 * 3600.0
#: Share of voices that may go on (a probe with a battery) in a cut.
STILL_HEARD = 0.1
#: Share of voices that must be overdue: of a slow one that is not, nobody knows yet.
OVERDUE = 0.5


@dataclass(slots=True)
class _Voice:
    """A probe that speaks: when it did last [s], and at what pace."""

    heard_s: float
    pace: Pace = field(default_factory=Pace)

    def hear(self, at_s: float, alone: bool) -> None:
        self.pace.note(at_s, at_s - self.heard_s, alone)
        self.heard_s = at_s

    def overdue(self, end_s: float, frame_s: float) -> bool:
        """Whether it has been silent for a frame longer than its own gaps. One that spoke but once
        may be a slow one."""
        gap_s = self._gap_s()
        frames = round((end_s - self.heard_s) / frame_s)
        return frames >= LEAST_FRAMES and gap_s is not None and frames > round(gap_s / frame_s)

    def gone(self, end_s: float) -> bool:
        """Whether it is no voice any more."""
        gap_s = self._gap_s()
        slow = self.pace.ragged or gap_s is None or gap_s > FORGET_S / 2
        return end_s - self.heard_s > (FORGET_SLOW_S if slow else FORGET_S)

    def _gap_s(self) -> float | None:
        return self.pace.longest_lately_s if self.pace.ragged else self.pace.usual_s()


class Silence:
    """Tells when nearly all probes are silent, each held against its own pace.

    Probes that all send once an hour leave five frames in six empty, and of those that speak on
    change a few are heard in a frame: it is a cut once nearly nobody was heard for some frames and
    at least half are overdue. Frames that were never closed, because nobody listened, say nothing:
    the count begins anew.
    """

    def __init__(self) -> None:
        self._voices: dict[str, _Voice] = {}
        self._closed_s: float | None = None
        self._cut_s = 0.0  # when it last was a cut
        self.since_s: float | None = None

    def step(self, frame: Frame) -> bool:
        """Whether the room is silent at the frame's end."""
        spoke = {f"air {name}" for name in frame.air_c}
        spoke |= {f"air {name}" for name in frame.humidity}
        spoke |= {f"bag {bag}" for bag in frame.surface_c}
        if self._closed_s is not None and frame.end_s - self._closed_s > 1.5 * frame.length_s:
            self._voices = {}
        self._closed_s = frame.end_s
        for name in spoke & self._voices.keys():
            voice = self._voices[name]
            voice.hear(frame.end_s, alone=voice.heard_s > self._cut_s)
        self.since_s = self._silent_since(frame)
        if self.since_s is not None:
            self._cut_s = frame.end_s
            return True
        for name in sorted(spoke - self._voices.keys()):
            self._voices[name] = _Voice(frame.end_s)
        self._voices = {
            name: voice for name, voice in self._voices.items() if not voice.gone(frame.end_s)
        }
        return False

    def _silent_since(self, frame: Frame) -> float | None:
        """When the last of the voices that are overdue was heard; None while it is no cut."""
        voices = self._voices.values()
        lately_s = (LEAST_FRAMES - 0.5) * frame.length_s
        lately = sum(frame.end_s - voice.heard_s < lately_s for voice in voices)
        if len(voices) < FEW_PROBES or lately > STILL_HEARD * len(voices):
            return None
        overdue = [v.heard_s for v in voices if v.overdue(frame.end_s, frame.length_s)]
        return max(overdue) if len(overdue) >= OVERDUE * len(voices) else None

    @property
    def voices(self) -> int:
        """Probes that spoke within the last hours, or did before the silence began."""
        return len(self._voices)

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "voices": {name: asdict(voice) for name, voice in self._voices.items()},
            "closed_s": self._closed_s,
            "cut_s": self._cut_s,
            "since_s": self.since_s,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        self._voices = {
            name: _Voice(float(voice["heard_s"]), Pace(**voice["pace"]))
            for name, voice in state["voices"].items()
        }
        self._closed_s, self._cut_s = state["closed_s"], float(state["cut_s"])
        self.since_s = state["since_s"]
