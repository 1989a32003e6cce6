"""Alarms as cards: what was found in sentences, how it stands, what may be done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import tzinfo
from itertools import pairwise

from monitor.store import StandingAlarm
from monitor.terms import Transition, Urgency
from monitor.words import one_line, sentences
from monitor.words.naming import BAG_KINDS, capital

WHEN = {Urgency.NOW: "Go in now", Urgency.TODAY: "Next walk", Urgency.LATER: "Morning"}


@dataclass(frozen=True, slots=True)
class Card:
    """One standing alarm, in the words of when it was last told, `told_s`.

    `came_first`: of several bags it was the first in; `asked` is what was asked of it and is not
    taken yet.
    """

    alarm_id: str
    urgency: str
    when: str
    title: str
    line: str
    body: tuple[str, ...]
    since_s: float
    state: str
    told_s: float
    came_first: bool
    bag: str
    asked: str

    @property
    def open(self) -> bool:
        """Whether it still waits for somebody to answer it."""
        return self.state == "unacknowledged"


def cards(
    alarms: Iterable[StandingAlarm], asked: Mapping[str, str], units: str, zone: tzinfo
) -> list[Card]:
    """Cards in the given order, the unanswered first."""
    found = list(alarms)
    ahead = _ahead_of_others(found)
    made = [
        _card(one, asked.get(one.raised.alarm_id, ""), units, zone, one.raised.alarm_id in ahead)
        for one in found
    ]
    return sorted(made, key=lambda card: not card.open)


def _ahead_of_others(alarms: list[StandingAlarm]) -> set[str]:
    """The bags' alarms that others followed so soon that one cause may explain them."""
    order = sorted(
        (one.raised for one in alarms if one.latest.kind in BAG_KINDS and not one.suppressed),
        key=lambda raised: (raised.at_s, not raised.first_in),
    )
    pairs = pairwise(order)
    return {one.alarm_id for one, after in pairs if one.first_in and not after.first_in}


def _card(alarm: StandingAlarm, asked: str, units: str, zone: tzinfo, first: bool) -> Card:
    found = replace(alarm.latest, transition=Transition.RAISED, by="", note="")
    title, body = sentences(found, units, zone)
    bag = alarm.latest.facts.bag or (alarm.latest.subject if alarm.latest.kind in BAG_KINDS else "")
    return Card(
        alarm.raised.alarm_id,
        alarm.latest.urgency.value,
        WHEN[alarm.latest.urgency],
        capital(title.partition(": ")[2] or title),
        one_line(found, units, zone),
        tuple(body.split("\n")),
        alarm.raised.at_s,
        alarm.state,
        alarm.latest.at_s,
        first,
        bag,
        asked,
    )
