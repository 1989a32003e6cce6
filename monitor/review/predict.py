"""What would have been called and alarmed under other thresholds: the live code on kept evidence.

`judge.calls.Calls`, `judge.overheat.Overheat` and `judge.alarms.Alarms` are stepped exactly as
the road steps them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from monitor.judge.alarm_state import AlarmParams
from monitor.judge.alarms import Alarms
from monitor.judge.calls import CallParams, Calls
from monitor.judge.overheat import Overheat
from monitor.judge.strain import Strain
from monitor.review.account import Account, walk
from monitor.values import AlarmEvent, AlarmKind, Transition, Urgency

#: (time, kind, subject, transition, urgency): what an alarm amounts to for who gets it.
Told = tuple[float, AlarmKind, str, Transition, Urgency]
#: Kinds whose conditions are worked out here and not kept.
PREDICTED = frozenset(
    {AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG, AlarmKind.PROBE, AlarmKind.OVERHEATING}
)


@dataclass(frozen=True, slots=True)
class Prediction:
    """When each bag was first called hot or stalled (`called_s`) and overheating (`heated_s`),
    and every alarm event."""

    called_s: Mapping[str, float]
    heated_s: Mapping[str, float]
    events: tuple[AlarmEvent, ...]

    @property
    def told(self) -> list[Told]:
        """The events as who gets them sees them."""
        return [told(event) for event in self.events]


def told(event: AlarmEvent) -> Told:
    """What an event amounts to for who gets it."""
    return (event.at_s, event.kind, event.subject, event.transition, event.urgency)


def predict(
    account: Account,
    strain_of: Callable[[str], Strain],
    progress: Callable[[float], None] = lambda share: None,
) -> Prediction:
    """Step calls and alarm life over an account under the thresholds of `strain_of`."""
    names = {bag.strain for frame in account.frames for bag in frame.bags.values()}
    strains = {name: strain_of(name) for name in names}
    calls, overheat, alarms = Calls(), Overheat(), Alarms(AlarmParams())
    called_s: dict[str, float] = {}
    heated_s: dict[str, float] = {}
    warm = {name for frame in account.frames for name in frame.core_c}
    events: list[AlarmEvent] = []
    near = may_matter(account, strains)
    for number, (frame, verdicts, bags) in enumerate(walk(account, strains, near)):
        for command in frame.commands:
            events += alarms.command(command)
        hot = overheat.step(
            frame.end_s,
            {name: verdicts[name][0] for name in frame.core_c if name in verdicts},
            {name: bags[name] for name in warm & bags.keys()},
            strains.__getitem__,
        )
        for condition in hot:
            heated_s.setdefault(condition.subject, frame.end_s)
        found = calls.step(frame.end_s, verdicts, bags, strains.__getitem__, frame.faults)
        for condition in found:
            if condition.kind is not AlarmKind.PROBE and condition.urgency is not Urgency.LATER:
                called_s.setdefault(condition.subject, frame.end_s)
        events += alarms.step((*frame.others, *hot, *found), frame.end_s)
        if number % 500 == 0:
            progress(number / len(account.frames))
    return Prediction(called_s, heated_s, tuple(events))


def may_matter(account: Account, strains: Mapping[str, Strain]) -> set[str]:
    """Bags whose evidence or core ever comes near a call; the others can't have a condition."""
    margin = CallParams().look_again
    near: set[str] = set()
    for frame, verdicts, _ in walk(account, strains):
        near |= frame.core_c.keys()
        for name in frame.evidence.keys() & verdicts.keys() - near:
            evidence = verdicts[name][1]
            if (
                evidence.hot >= evidence.hot_needed - margin
                or evidence.stalled >= evidence.stalled_needed - margin
            ):
                near.add(name)
    return near
