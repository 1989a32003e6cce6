"""A room's summary, from what is known of it as a frame closes; pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from statistics import fmean

from monitor.neighbours.picture import (
    Picture,
    Teller,
    answered,
    figure,
    gravity,
    name,
    session_of,
)
from monitor.room_summary import (
    MOST_ALARMS,
    MOST_LOTS,
    VERSION,
    AlarmSummary,
    BagCounts,
    LotSummary,
    MonitorHealth,
    RoomAir,
    RoomSummary,
)
from monitor.store import StandingAlarm
from monitor.terms import AlarmKind, Urgency
from monitor.values import Bag, Condition

#: What a broker set up by our snippet lets through is 64 KiB.
MOST_BYTES = 60_000
_SOURCE = "source "


def summary_of(teller: Teller, picture: Picture) -> RoomSummary:
    """The room in one message: the gravest alarms and largest lots, as many as it can bear."""
    alarms = sorted(picture.alarms, key=gravity)
    lots = _lots(picture)
    for most in (max(MOST_ALARMS, MOST_LOTS), 40, 20, 10, 5, 2):
        summary = _with(teller, picture, alarms, lots, most)
        if len(summary.to_json()) <= MOST_BYTES:
            return summary
    return _with(teller, picture, alarms, lots, 0)


def _with(
    teller: Teller,
    picture: Picture,
    alarms: list[StandingAlarm],
    lots: list[LotSummary],
    most: int,
) -> RoomSummary:
    told, shown = alarms[: min(most, MOST_ALARMS)], lots[: min(most, MOST_LOTS)]
    return RoomSummary(
        version=VERSION,
        site=teller.site,
        room=teller.room,
        instance=teller.instance,
        at_s=picture.at_s,
        air=_air(teller, picture),
        bags=_counts(picture),
        alarms=tuple(_alarm(one) for one in told),
        alarms_left_out=len(alarms) - len(told),
        lots=tuple(shown),
        lots_left_out=len(lots) - len(shown),
        monitor=MonitorHealth(
            silent_sources=_silent(picture.closed.house),
            undelivered=picture.undelivered,
            lag_s=round(picture.lag_s, 1),
            problem=name(picture.closed.problem),
        ),
        page=teller.page,
        every_s=teller.every_s,
    )


def _air(teller: Teller, picture: Picture) -> RoomAir:
    frame = picture.closed.outcome.frame
    levels = [mean.mean for mean in frame.air_c.values()]
    humid = [mean.mean for mean in frame.humidity.values()]
    return RoomAir(
        mean_c=figure(fmean(levels)) if levels else None,
        low_c=figure(min(levels, default=None)),
        high_c=figure(max(levels, default=None)),
        band_low_c=figure(teller.band_low_c),
        band_high_c=figure(teller.band_high_c),
        humidity=figure(fmean(humid)) if humid else None,
    )


def _counts(picture: Picture) -> BagCounts:
    by_urgency = dict.fromkeys(Urgency, 0)
    for code in picture.bags:
        if code in picture.by_bag:
            by_urgency[picture.by_bag[code][0].latest.urgency] += 1
    heard = {
        code
        for code, (estimate, _) in picture.closed.outcome.verdicts.items()
        if estimate.surface_c is not None
    }
    total = len(picture.bags)
    return BagCounts(
        total=total,
        now=by_urgency[Urgency.NOW],
        today=by_urgency[Urgency.TODAY],
        later=by_urgency[Urgency.LATER],
        calm=total - sum(by_urgency.values()),
        unheard=total - len(heard & picture.bags.keys()),
    )


def _alarm(alarm: StandingAlarm) -> AlarmSummary:
    latest = alarm.latest
    return AlarmSummary(
        id=name(alarm.raised.alarm_id),
        kind=latest.kind,
        subject=name(latest.subject),
        urgency=latest.urgency,
        reason=latest.reason,
        since_s=alarm.raised.at_s,
        answered=answered(alarm),
    )


def _lots(picture: Picture) -> list[LotSummary]:
    """Spawn lots by strain and session, the largest first; bags without a lot are of none."""
    by_lot: dict[tuple[str, str, str], list[Bag]] = defaultdict(list)
    for bag in picture.bags.values():
        if bag.spawn_lot:
            by_lot[bag.spawn_lot, bag.strain, session_of(bag)].append(bag)
    apart = {
        one.latest.facts.cohort or one.latest.subject
        for one in picture.alarms
        if one.latest.kind is AlarmKind.LOT_APART
    }
    found = [_lot(key, bags, picture, apart) for key, bags in by_lot.items()]
    return sorted(found, key=lambda lot: (-lot.bags, lot.spawn_lot, lot.strain, lot.session))


def _lot(
    key: tuple[str, str, str], bags: list[Bag], picture: Picture, apart: set[str]
) -> LotSummary:
    verdicts = picture.closed.outcome.verdicts
    excesses_k = [
        excess_k
        for bag in bags
        if bag.bag in verdicts and (excess_k := figure(verdicts[bag.bag][1].excess_k)) is not None
    ]
    alarms = [picture.by_bag.get(bag.bag, ()) for bag in bags]
    gravest = [on_bag[0].latest.urgency for on_bag in alarms if on_bag]
    spawn_lot, strain, session = key
    return LotSummary(
        spawn_lot=name(spawn_lot),
        strain=name(strain),
        session=session,
        bags=len(bags),
        judged=len(excesses_k),
        called_now=gravest.count(Urgency.NOW),
        called_today=gravest.count(Urgency.TODAY),
        called_warm=_called(alarms, AlarmKind.HOT_BAG),
        called_cold=_called(alarms, AlarmKind.STALLED_BAG),
        mean_excess_k=figure(fmean(excesses_k)) if excesses_k else None,
        lot_alarm=any(bag.cohort in apart for bag in bags),
    )


def _called(alarms: Iterable[tuple[StandingAlarm, ...]], kind: AlarmKind) -> int:
    """Bags with an alarm of a kind; overheating is the room's doing as often as the bag's."""
    return sum(any(one.latest.kind is kind for one in on_bag) for on_bag in alarms)


def _silent(house: Iterable[Condition]) -> tuple[str, ...]:
    """Sources that are away, refused or silent."""
    return tuple(
        name(one.subject.removeprefix(_SOURCE)) for one in house if one.subject.startswith(_SOURCE)
    )
