"""Probes that were not heard or not believed, and the alarms of a night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from monitor.review.night_nouns import AlarmNight, Heard, NightData, ProbeNight
from monitor.review.nights import Window
from monitor.values import AlarmEvent, AlarmKind, Reason, Transition

#: A shorter silence is ordinary radio; a slow probe gets three of its own steps.
LEAST_SILENCE_S = 900.0
SLOW_STEPS = 3.0
#: A doubted reading now and then is ordinary too.
FEW_DOUBTS = 3
_CALLS = (Transition.RAISED, Transition.URGENCY_CHANGED)
_UNANSWERED = ("suppressed by design", "shelved", "out of service")


def find_probes(data: NightData, common: Sequence[Window]) -> tuple[ProbeNight, ...]:
    """Probes with a silence of their own or with doubted readings, the longest silence first.

    `common` are silences of the whole room, which are told once and not of each probe.
    """
    placed = dict(data.probes)
    found = []
    for probe, place in placed.items():
        heard = data.heard.get(probe, Heard())
        one = _probe(probe, place.bag, heard, data.window, common)
        doubted = sum(heard.doubts.values()) >= FEW_DOUBTS
        if one.silent_s or doubted:
            found.append(one)
    return tuple(sorted(found, key=lambda one: (-one.silent_s, one.probe)))


def _probe(
    probe: str, bag: str, heard: Heard, window: Window, common: Sequence[Window]
) -> ProbeNight:
    silences = heard.silences if heard.count else (window,)
    usual_s = window.length_s / max(heard.count, 1)
    least_s = max(LEAST_SILENCE_S, SLOW_STEPS * usual_s) if heard.count else 0.0
    own = [
        gap
        for gap in silences
        if gap.length_s >= least_s
        and gap.length_s - sum(gap.overlap_s(c.start_s, c.end_s) for c in common) >= least_s / 2
    ]
    longest = max(own, key=lambda gap: gap.length_s, default=None)
    return ProbeNight(
        probe=probe,
        bag=bag,
        silent_s=sum(gap.length_s for gap in own),
        longest=longest,
        back=longest is None or not any(gap.end_s >= window.end_s for gap in own),
        doubts=dict(heard.doubts),
    )


@dataclass(slots=True)
class _Life:
    """One alarm's life so far, folded from its events."""

    raised: AlarmEvent
    latest: AlarmEvent
    back_s: float | None = None
    by: str = ""
    answered_s: float | None = None
    states: set[str] = field(default_factory=set)

    def take(self, event: AlarmEvent) -> None:
        match event.transition:
            case Transition.RAISED:
                self.raised, self.back_s, self.by, self.answered_s = event, None, "", None
                self.states.clear()
            case Transition.RETURNED:
                self.back_s = event.at_s
            case Transition.ACKNOWLEDGED:
                self.by, self.answered_s = event.by or "somebody", event.at_s
            case Transition.SUPPRESSED | Transition.SHELVED | Transition.OUT_OF_SERVICE:
                self.states.add(event.transition.value)
            case Transition.UNSUPPRESSED:
                self.states.discard(Transition.SUPPRESSED.value)
            case Transition.UNSHELVED:
                self.states.discard(Transition.SHELVED.value)
            case Transition.IN_SERVICE:
                self.states.discard(Transition.OUT_OF_SERVICE.value)
        if event.transition in _CALLS:
            self.latest = event


def find_alarms(events: Sequence[AlarmEvent], window: Window) -> tuple[AlarmNight, ...]:
    """Alarms that stood inside the window: most urgent first, those held back last.

    What somebody did after the window is not counted: the review tells of the night.
    """
    lives: dict[str, _Life] = {}
    for event in events:
        if event.at_s > window.end_s:
            continue
        lives.setdefault(event.alarm_id, _Life(event, event)).take(event)
    found = []
    for alarm_id, life in lives.items():
        end_s = window.end_s if life.back_s is None else life.back_s
        dark = life.raised.kind is AlarmKind.HOUSE and life.raised.reason is Reason.WAS_DARK
        if end_s < window.start_s or (dark and life.raised.at_s < window.start_s):
            continue
        after_s = None if life.answered_s is None else life.answered_s - life.raised.at_s
        found.append(
            AlarmNight(
                alarm_id=alarm_id,
                kind=life.raised.kind,
                urgency=life.latest.urgency,
                raised=life.latest,
                stood_s=end_s - life.raised.at_s,
                stands=life.back_s is None,
                answered_by=life.by,
                answered_after_s=after_s,
                state=next((state for state in _UNANSWERED if state in life.states), ""),
            )
        )
    return tuple(
        sorted(
            found,
            key=lambda one: (bool(one.state), -one.urgency.rank, one.raised.at_s, one.alarm_id),
        )
    )
