"""What the monitor says of itself: sources, channels, store and clock as conditions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from statistics import fmean

from monitor.channels.heartbeat import HeartbeatHealth
from monitor.mirror import MirrorHealth
from monitor.neighbours.health import NeighbourHealth
from monitor.outbox import ChannelHealth
from monitor.sources.source import SourceHealth
from monitor.store import Aside, Heard
from monitor.values import AlarmKind, Condition, Facts, Probe, Reason, Urgency
from monitor.words import duration
from monitor.words.quantities import counted

#: A source that is connected and says nothing for this long is silent.
SOURCE_SILENT_S = 1800.0
#: Below this a gap in the monitor's own work is not worth a word.
DARK_S = 900.0
#: A condition must hold for more than one close to become an alarm.
DARK_TOLD_CLOSES = 3
#: So many closes it waits for the air to be heard again.
DARK_WAIT_CLOSES = 3
#: How many closes hear of a clock that was set back.
SET_BACK_TOLD_CLOSES = 3


def _condition(subject: str, urgency: Urgency, reason: Reason, facts: Facts) -> Condition:
    return Condition(AlarmKind.HOUSE, subject, urgency, reason, facts)


def of_sources(
    healths: Iterable[SourceHealth], monotonic_s: float, started_s: float
) -> list[Condition]:
    """A condition for each source that is away, refused or silent.

    One that never said a word since `started_s` [monotonic] is silent as well.
    """
    found = []
    for health in healths:
        facts = Facts(detail=f"{health.name}: {health.detail}" if health.detail else health.name)
        if health.problem is not None:
            found.append(_condition(f"source {health.name}", Urgency.TODAY, health.problem, facts))
            continue
        heard_s = health.last_packet_monotonic_s
        silent_s = monotonic_s - (started_s if heard_s is None else heard_s)
        if silent_s > SOURCE_SILENT_S:
            found.append(
                _condition(
                    f"source {health.name}",
                    Urgency.TODAY,
                    Reason.SOURCE_SILENT,
                    Facts(detail=health.name, silent_for_s=silent_s),
                )
            )
    return found


def of_channels(healths: Iterable[ChannelHealth]) -> list[Condition]:
    """A condition for each person whom messages don't reach."""
    return [
        _condition(
            f"channel {health.recipient}",
            Urgency.TODAY,
            Reason.CHANNEL_FAILING,
            Facts(detail=f"{health.recipient}: {health.detail}", since_s=health.since_s),
        )
        for health in healths
        if health.failing
    ]


def of_heartbeat(health: HeartbeatHealth) -> list[Condition]:
    """A condition while the dead man's switch is not reached: it will tell that we are gone."""
    if not health.failing:
        return []
    facts = Facts(detail=f"heartbeat: {health.detail}", since_s=health.since_s)
    return [_condition("channel heartbeat", Urgency.TODAY, Reason.CHANNEL_FAILING, facts)]


def of_mirror(health: MirrorHealth, now_s: float) -> list[Condition]:
    """A condition while the server of the copy takes nothing: nothing in the room waits for it."""
    if not health.failing(now_s):
        return []
    facts = Facts(detail=health.detail, since_s=health.since_s)
    return [_condition("mirror", Urgency.LATER, Reason.MIRROR_FAILING, facts)]


def of_neighbours(health: NeighbourHealth, now_s: float) -> list[Condition]:
    """A condition while another monitor has the room's name, one while nobody can be told."""
    found = []
    if health.holder:
        facts = Facts(detail=f"host {health.holder} holds it", since_s=health.aside_s)
        found.append(_condition("room name", Urgency.TODAY, Reason.NAME_TAKEN, facts))
    if health.failing(now_s):
        facts = Facts(detail=health.detail, since_s=health.since_s)
        found.append(_condition("neighbours", Urgency.LATER, Reason.NEIGHBOURS_CUT_OFF, facts))
    return found


def of_clock(synced: bool) -> list[Condition]:
    """A condition while the wall clock is not known to be right."""
    if synced:
        return []
    return [_condition("clock", Urgency.LATER, Reason.CLOCK_UNSET, Facts())]


def of_set_back(aside: Aside | None) -> list[Condition]:
    """A condition for some closes after what a clock that was ahead had closed was set aside."""
    if aside is None or aside.closes >= SET_BACK_TOLD_CLOSES:
        return []
    frames = counted(aside.frames, "frame closed meanwhile is", "frames closed meanwhile are")
    detail = f"it was {duration(aside.ahead_s)} ahead, and {frames} set aside"
    facts = Facts(detail=detail, since_s=aside.since_s)
    return [_condition("wall clock", Urgency.TODAY, Reason.CLOCK_SET_BACK, facts)]


@dataclass(frozen=True, slots=True)
class Air:
    """The room's air in a stretch of time: None where nothing was heard [°C]."""

    mean_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None


def air_of(rows: Iterable[Heard], probes: Mapping[str, Probe]) -> Air:
    """The air of what was heard, by the probes that hang in it, their offsets added."""
    heard = [
        (one, probes[one.probe].offset_k)
        for one in rows
        if one.probe in probes and probes[one.probe].in_air
    ]
    means = [one.mean_c + offset_k for one, offset_k in heard if one.mean_c is not None]
    return Air(
        fmean(means) if means else None,
        min((one.low_c + offset_k for one, offset_k in heard), default=None),
        max((one.high_c + offset_k for one, offset_k in heard), default=None),
    )


class Darkness:
    """The time in which the monitor itself did not run, told once the air after it is known."""

    def __init__(self, dark_s: float, before: Air) -> None:
        self._dark_s = dark_s
        self._before = before
        self._closes = 0
        self._told = 0

    def at_close(self, since: Callable[[], Air]) -> list[Condition]:
        """The condition, while it is to be told; `since` asks for the air since the start."""
        if self._dark_s < DARK_S or self._told >= DARK_TOLD_CLOSES:
            return []
        self._closes += 1
        air = since()
        if air.mean_c is None and self._closes < DARK_WAIT_CLOSES:
            return []
        self._told += 1
        known = [
            value_c
            for value_c in (self._before.mean_c, air.low_c, air.high_c)
            if value_c is not None
        ]
        facts = Facts(
            silent_for_s=self._dark_s,
            air_before_c=self._before.mean_c,
            air_c=air.mean_c,
            low_c=min(known, default=None),
            high_c=max(known, default=None),
        )
        return [_condition("monitor", Urgency.LATER, Reason.WAS_DARK, facts)]


def of_store(problem: str) -> list[Condition]:
    """A condition while the store can't be written."""
    if not problem:
        return []
    return [_condition("store", Urgency.NOW, Reason.STORE_FAILING, Facts(detail=problem))]
