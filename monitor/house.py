"""What the monitor says of itself: sources, channels, store and clock as conditions."""

from __future__ import annotations

from collections.abc import Iterable

from monitor.channels.heartbeat import HeartbeatHealth
from monitor.outbox import ChannelHealth
from monitor.sources.source import SourceHealth
from monitor.values import AlarmKind, Condition, Facts, Reason, Urgency

#: A source that is connected and says nothing for this long is silent.
SOURCE_SILENT_S = 1800.0
#: Below this a gap in the monitor's own work is not worth a word.
DARK_S = 900.0


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


def of_clock(synced: bool) -> list[Condition]:
    """A condition while the wall clock is not known to be right."""
    if synced:
        return []
    return [_condition("clock", Urgency.LATER, Reason.CLOCK_UNSET, Facts())]


def of_darkness(dark_s: float) -> list[Condition]:
    """A condition after the monitor itself did not run for a while."""
    if dark_s < DARK_S:
        return []
    return [_condition("monitor", Urgency.LATER, Reason.WAS_DARK, Facts(silent_for_s=dark_s))]


def of_store(problem: str) -> list[Condition]:
    """A condition while the store can't be written."""
    if not problem:
        return []
    return [_condition("store", Urgency.NOW, Reason.STORE_FAILING, Facts(detail=problem))]
