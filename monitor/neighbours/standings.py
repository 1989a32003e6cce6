"""Standing alarms and bags as messages of their own, from what is known as a frame closes; pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from monitor.neighbours.picture import (
    BAG_KINDS,
    Picture,
    Teller,
    answered,
    figure,
    name,
    session_of,
)
from monitor.room_messages import LONGEST_WORDS, BagStanding, Figures, RoomAlarm
from monitor.room_summary import VERSION
from monitor.store import StandingAlarm
from monitor.terms import HOUR_S, Transition
from monitor.values import Bag, Facts
from monitor.words import sentences


def alarms_of(teller: Teller, picture: Picture) -> dict[str, RoomAlarm]:
    """Every alarm that stands, by its id."""
    return {one.raised.alarm_id: _alarm(teller, one) for one in picture.alarms}


def standings_of(teller: Teller, picture: Picture) -> dict[str, BagStanding]:
    """How every bag in the room stands, by its code."""
    return {code: _bag(teller, picture, bag) for code, bag in picture.bags.items()}


def worth_telling(
    before: Mapping[str, BagStanding], now: Mapping[str, BagStanding]
) -> dict[str, BagStanding]:
    """The standings to be told: those that mean something else than before, all of them hourly.

    What was told before stays as it was where only its numbers moved.
    """
    return {
        code: standing
        if (old := before.get(code)) is None
        or _hourly(standing)
        or _meaning(old) != _meaning(standing)
        else old
        for code, standing in now.items()
    }


def _hourly(standing: BagStanding) -> bool:
    return standing.at_s % HOUR_S == 0


def _meaning(standing: BagStanding) -> BagStanding:
    """A standing without what moves in every frame."""
    return replace(
        standing, surface_c=None, excess_k=None, heat_w_per_kg=None, core_c=None, at_s=0.0
    )


def _alarm(teller: Teller, alarm: StandingAlarm) -> RoomAlarm:
    latest = alarm.latest
    facts = latest.facts
    # in the words it was raised with: who answered it is nobody's business on a broker
    told = replace(latest, transition=Transition.RAISED, by="", note="")
    title, text = sentences(told, teller.units, teller.zone)
    return RoomAlarm(
        version=VERSION,
        site=teller.site,
        room=teller.room,
        instance=teller.instance,
        id=name(alarm.raised.alarm_id),
        kind=latest.kind,
        subject=name(latest.subject),
        urgency=latest.urgency,
        reason=latest.reason,
        since_s=alarm.raised.at_s,
        told_s=latest.at_s,
        answered=answered(alarm),
        bag=name(facts.bag or (latest.subject if latest.kind in BAG_KINDS else "")),
        probe=name(facts.probe),
        rack=name(facts.rack),
        shelf=facts.shelf,
        title=title[:LONGEST_WORDS],
        text=text[:LONGEST_WORDS],
        figures=_figures(facts),
    )


def _figures(facts: Facts) -> Figures:
    return Figures(
        surface_c=figure(facts.surface_c),
        air_c=figure(facts.air_c),
        excess_k=figure(facts.excess_k),
        added_w_per_kg=figure(facts.added_w_per_kg),
        rate_k_per_h=figure(facts.rate_k_per_h),
        evidence=figure(facts.evidence),
        peers=facts.peers,
        core_c=figure(facts.core_c),
        limit_c=figure(facts.limit_c),
        reached_in_s=figure(facts.reached_in_s),
        silent_for_s=figure(facts.silent_for_s),
        affected=facts.affected,
    )


def _bag(teller: Teller, picture: Picture, bag: Bag) -> BagStanding:
    estimate, evidence = picture.closed.outcome.verdicts.get(bag.bag, (None, None))
    gravest = next(iter(picture.by_bag.get(bag.bag, ())), None)
    return BagStanding(
        version=VERSION,
        site=teller.site,
        room=teller.room,
        instance=teller.instance,
        bag=name(bag.bag),
        strain=name(bag.strain),
        batch=name(bag.batch),
        session=session_of(bag),
        spawn_lot=name(bag.spawn_lot),
        rack=name(bag.rack),
        shelf=bag.shelf,
        slot=bag.slot,
        called=None if gravest is None else gravest.latest.urgency,
        kind=None if gravest is None else gravest.latest.kind,
        reason=None if evidence is None else evidence.reason,
        surface_c=figure(estimate.surface_c) if estimate else None,
        excess_k=figure(evidence.excess_k) if evidence else None,
        heat_w_per_kg=figure(estimate.heat_w_per_kg) if estimate else None,
        core_c=figure(estimate.core_c) if estimate else None,
        at_s=picture.at_s,
    )
