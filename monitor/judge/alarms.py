"""The life of alarms, after IEC 62682 and ISA-18.2: raised once, kept, returned, held back.

`step` takes what holds at a frame's end and gives what happened; `command` takes what a
person asks. Ids are made of kind, subject and moment, so a replay gives the same ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from monitor.judge.alarm_state import NEED_A_REASON, VERBS, AlarmParams, AlarmState, Entry
from monitor.judge.floods import ROOM_FLOOD, Onset, explained_by_room, flood_condition, flood_of
from monitor.judge.probe_faults import FALSE_WITNESS
from monitor.values import (
    AlarmCommand,
    AlarmEvent,
    AlarmKind,
    Condition,
    Reason,
    Transition,
    Urgency,
)

Key = tuple[AlarmKind, str]

#: Causes first, so that what they explain finds them standing.
_ORDER = (
    AlarmKind.HOUSE,
    AlarmKind.ROOM,
    AlarmKind.PROBE,
    AlarmKind.LOT_APART,
    AlarmKind.OVERHEATING,
    AlarmKind.HOT_BAG,
    AlarmKind.STALLED_BAG,
)
_BAG_KINDS = frozenset({AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG, AlarmKind.OVERHEATING})


class Alarms:
    """All alarms of a room, by kind and subject."""

    def __init__(self, params: AlarmParams) -> None:
        self._params = params
        self._entries: dict[Key, Entry] = {}
        self._onsets: list[Onset] = []

    def standing(self) -> tuple[tuple[Entry, AlarmState], ...]:
        """Every alarm that is not normal, with its state, by kind and subject."""
        return tuple(
            (entry, entry.state)
            for _, entry in sorted(self._entries.items())
            if entry.state is not AlarmState.NORMAL
        )

    def step(self, conditions: Iterable[Condition], now_s: float) -> tuple[AlarmEvent, ...]:
        """What happened to alarms now that `conditions` hold; causes before what they explain."""
        events: list[AlarmEvent] = []
        holds: dict[Key, Condition] = {}
        for condition in conditions:
            key = (condition.kind, condition.subject)
            if key not in holds or condition.urgency.rank > holds[key].urgency.rank:
                holds[key] = condition
        self._onsets = [one for one in self._onsets if now_s - one.at_s <= self._params.flood_s]
        events += self._unshelve_expired(now_s)
        liars = _false_witness(holds.values())
        holds.update(self._floods_that_stand(holds))
        order = sorted(holds, key=_rank)
        for key in order:
            if key[0] not in _BAG_KINDS:
                events += self._hold(holds[key], now_s)
        bags = [key for key in order if key[0] in _BAG_KINDS]
        self._note_onsets([holds[key] for key in bags], now_s)
        for key in bags:
            events += self._hold(holds[key], now_s)
        for key in sorted(self._entries.keys() - holds.keys(), key=_rank):
            events += self._gone(self._entries[key], now_s, liars.get(key[1]))
        self._forget(now_s)
        return tuple(events)

    def _hold(self, condition: Condition, now_s: float) -> list[AlarmEvent]:
        """A condition that holds: begin, raise, hold back or update its alarm."""
        entry = self._begin(condition, now_s)
        if entry.out_of_service or entry.shelved_until_s is not None:
            entry.take(condition, urgency=True)
            return []
        if entry.announced and not entry.suppressed:
            return self._update(entry, condition, now_s)
        entry.take(condition, urgency=True)
        return self._raise(entry, now_s) if self._waited(entry, now_s) else []

    def _begin(self, condition: Condition, now_s: float) -> Entry:
        """The alarm of a condition that holds, a new one if none is under way."""
        key = (condition.kind, condition.subject)
        entry = self._entries.get(key)
        if entry is None or entry.returned_s is not None:
            entry = self._entries[key] = Entry(
                condition.kind,
                condition.subject,
                condition.urgency,
                condition.reason,
                condition.facts,
                began_s=now_s,
                moves=[] if entry is None else entry.moves,
            )
        entry.active, entry.gone_s = True, None
        return entry

    def _waited(self, entry: Entry, now_s: float) -> bool:
        if entry.reason in self._params.at_once:
            return True
        return now_s - entry.began_s >= self._params.on_delay_s.get(entry.kind, 0.0)

    def _note_onsets(self, conditions: Iterable[Condition], now_s: float) -> None:
        """Count the bags about to be called, all of them before the first is announced."""
        for condition in conditions:
            known = self._entries.get((condition.kind, condition.subject))
            called = known is not None and (known.announced or known.suppressed)
            if known is not None and called and known.urgency is not Urgency.LATER:
                continue
            entry = self._begin(condition, now_s)
            if condition.urgency is Urgency.LATER or not self._waited(entry, now_s):
                continue
            if explained_by_room(entry, self._entries.values(), now_s, self._params):
                continue
            facts = condition.facts
            size = 0 if facts.peers is None else facts.peers + 1
            self._onsets.append(Onset(now_s, condition.subject, facts.cohort, size))

    def _raise(self, entry: Entry, now_s: float) -> list[AlarmEvent]:
        """Announce an alarm, unless one cause explains it and many others."""
        events: list[AlarmEvent] = []
        explained = explained_by_room(entry, self._entries.values(), now_s, self._params)
        if not explained and entry.urgency is not Urgency.LATER:
            entry.first_in = entry.kind in _BAG_KINDS and self._is_first(entry)
            flood = flood_of(entry, self._onsets, self._params)
            if flood is not None:
                events += self._raise_flood(flood, now_s)
            # a lot gone bad explains its bags, yet each of them must be found and pulled
            entry.told_by_lot = flood is not None and flood[0] is AlarmKind.LOT_APART
            held = entry.suppressed and self._flood_stands(entry)
            explained = held or (flood is not None and not entry.told_by_lot)
        if explained:
            if not entry.suppressed:
                entry.suppressed = True
                events.append(entry.event(Transition.SUPPRESSED, now_s))
            return events
        entry.suppressed, entry.milder_s = False, None
        entry.raised_s, entry.returned_s, entry.acknowledged = now_s, None, False
        self._move(entry, now_s)
        return [*events, entry.event(Transition.RAISED, now_s, note=_latched(entry))]

    def _is_first(self, entry: Entry) -> bool:
        """Whether it is the first bag called in the time that a flood is counted over."""
        first = min(self._onsets, key=lambda one: (one.at_s, one.subject), default=None)
        return first is None or first.subject == entry.subject

    def _flood_stands(self, entry: Entry) -> bool:
        return any(
            cause.reason is Reason.MANY_AT_ONCE
            and cause.announced
            and cause.subject in (ROOM_FLOOD, entry.facts.cohort)
            for cause in self._entries.values()
        )

    def _raise_flood(self, flood: tuple[AlarmKind, str], now_s: float) -> list[AlarmEvent]:
        """Raise or renew the one alarm of a flood."""
        kind, subject = flood
        members = self._members(kind, subject)
        if not members:
            return []
        urgency = max((member.urgency for member in members), key=lambda one: one.rank)
        return self._hold(flood_condition(kind, subject, members, urgency), now_s)

    def _members(self, kind: AlarmKind, subject: str) -> list[Entry]:
        bags = {onset.subject for onset in self._onsets}
        return [
            entry
            for entry in self._entries.values()
            if entry.kind in _BAG_KINDS
            and entry.active
            and (entry.suppressed or entry.announced or entry.subject in bags)
            and (kind is AlarmKind.ROOM or entry.facts.cohort == subject)
        ]

    def _floods_that_stand(self, holds: Mapping[Key, Condition]) -> dict[Key, Condition]:
        """A flood's alarm holds as long as any bag that it stands for is still called."""
        found: dict[Key, Condition] = {}
        for key, entry in self._entries.items():
            if entry.reason is not Reason.MANY_AT_ONCE or not entry.announced:
                continue
            called = [
                member
                for member in self._members(*key)
                if (member.suppressed or member.told_by_lot)
                and (member.kind, member.subject) in holds
            ]
            if called:
                found[key] = Condition(*key, entry.urgency, entry.reason, entry.facts)
        return found

    def _update(self, entry: Entry, condition: Condition, now_s: float) -> list[AlarmEvent]:
        """An alarm that stands: worse at once, milder only once that has lasted."""
        params = self._params
        rank, before = condition.urgency.rank, entry.urgency.rank
        if rank > before:
            was_later = entry.urgency is Urgency.LATER
            entry.take(condition, urgency=True)
            entry.milder_s, entry.acknowledged, entry.told_by_lot = None, False, False
            if was_later:
                # a look again that became a call asks for someone, as a new alarm does
                return self._raise(entry, now_s)
            return [entry.event(Transition.URGENCY_CHANGED, now_s)]
        if rank == before:
            entry.milder_s = None
            entry.take(condition, urgency=False)
            return []
        entry.milder_s = now_s if entry.milder_s is None else entry.milder_s
        if now_s - entry.milder_s < params.off_delay_s.get(entry.kind, 0.0):
            return []
        entry.milder_s = None
        entry.take(condition, urgency=True)
        return [entry.event(Transition.URGENCY_CHANGED, now_s)]

    def _gone(self, entry: Entry, now_s: float, witness: Reason | None) -> list[AlarmEvent]:
        """A condition that no longer holds: return its alarm once that has lasted."""
        entry.active = False
        if entry.gone_s is None:
            entry.gone_s = now_s
        kept = entry.out_of_service or entry.shelved_until_s is not None
        if not entry.alarm_id or entry.returned_s is not None or kept:
            return []
        if entry.kind in _BAG_KINDS and witness is not None:
            entry.reason = witness
            return [self._return(entry, now_s, "its probe can't be trusted")]
        waits_s = self._params.off_delay_s.get(entry.kind, 0.0)
        if entry.latched:
            waits_s = self._params.chatter_s
        return [self._return(entry, now_s)] if now_s - entry.gone_s >= waits_s else []

    def _return(self, entry: Entry, now_s: float, note: str = "") -> AlarmEvent:
        self._move(entry, now_s)
        entry.returned_s, entry.suppressed = now_s, False
        return entry.event(Transition.RETURNED, now_s, note=note)

    def _move(self, entry: Entry, now_s: float) -> None:
        """Count raises and returns; too many in a few lags latch the alarm."""
        recent = [at_s for at_s in entry.moves if now_s - at_s <= self._params.chatter_s]
        entry.moves = [*recent, now_s]
        entry.latched = len(entry.moves) >= self._params.chatter_count

    def _forget(self, now_s: float) -> None:
        """Drop what never became an alarm, and what returned to normal long ago."""
        for key, entry in list(self._entries.items()):
            if entry.active or (entry.alarm_id and entry.returned_s is None):
                continue
            ended_s = entry.returned_s
            if ended_s is None or now_s - ended_s >= self._params.unseen_return_s:
                del self._entries[key]

    def refusal(self, command: AlarmCommand) -> str:
        """Why a command can't be followed, in words that say what to do; empty if it can."""
        entry = self._find(command.alarm_id)
        if entry is None:
            return f"no alarm {command.alarm_id} stands; `bagwatt alarms` lists them"
        verb, most_d = command.verb, self._params.most_shelved_s / 86400.0
        shelved_s = (command.until_s or command.at_s) - command.at_s
        reasons = (
            (verb not in VERBS, f"{verb!r} is none of: {', '.join(VERBS)}"),
            (
                verb in NEED_A_REASON and not command.note.strip(),
                f"say why: a reason is needed to {verb}",
            ),
            (
                verb == "shelve" and not 0 < shelved_s <= self._params.most_shelved_s,
                f"say until when, at most {most_d:.0f} days ahead",
            ),
            (verb == "unshelve" and entry.shelved_until_s is None, "it is not shelved"),
            (verb == "in service" and not entry.out_of_service, "it is in service"),
        )
        return next((reason for refused, reason in reasons if refused), "")

    def command(self, command: AlarmCommand) -> tuple[AlarmEvent, ...]:
        """What a person asks of an alarm; nothing happens where `refusal` has a reason."""
        entry = self._find(command.alarm_id)
        if entry is None or self.refusal(command):
            return ()
        match command.verb:
            case "acknowledge":
                if entry.acknowledged:
                    return ()
                entry.acknowledged, change = True, Transition.ACKNOWLEDGED
            case "shelve":
                entry.shelved_until_s, change = command.until_s, Transition.SHELVED
            case "unshelve":
                entry.shelved_until_s, change = None, Transition.UNSHELVED
            case "out of service":
                entry.out_of_service, change = True, Transition.OUT_OF_SERVICE
            case _:
                entry.out_of_service, change = False, Transition.IN_SERVICE
        return (entry.event(change, command.at_s, command.by, command.note),)

    def _find(self, alarm_id: str) -> Entry | None:
        return next((entry for entry in self._entries.values() if entry.alarm_id == alarm_id), None)

    def _unshelve_expired(self, now_s: float) -> list[AlarmEvent]:
        events = []
        for _, entry in sorted(self._entries.items()):
            if entry.shelved_until_s is not None and now_s >= entry.shelved_until_s:
                entry.shelved_until_s = None
                events.append(entry.event(Transition.UNSHELVED, now_s, note="its time is over"))
        return events

    def state(self) -> dict[str, Any]:
        """Plain data from which `restore` goes on exactly."""
        return {
            "entries": [entry.saved() for _, entry in sorted(self._entries.items())],
            "onsets": [
                [one.at_s, one.subject, one.cohort, one.cohort_size] for one in self._onsets
            ],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Go on from what `state` gave."""
        entries = [Entry.restored(saved) for saved in state["entries"]]
        self._entries = {(entry.kind, entry.subject): entry for entry in entries}
        self._onsets = [Onset(*saved) for saved in state["onsets"]]


def _rank(key: Key) -> tuple[int, str]:
    return _ORDER.index(key[0]), key[1]


def _latched(entry: Entry) -> str:
    return "it came and went; it stands until it has been quiet for long" if entry.latched else ""


def _false_witness(conditions: Iterable[Condition]) -> dict[str, Reason]:
    """Bags whose probe is at fault in a way that makes its story of the bag void."""
    return {
        condition.facts.bag: condition.reason
        for condition in conditions
        if condition.kind is AlarmKind.PROBE
        and condition.facts.bag
        and condition.reason in FALSE_WITNESS
    }
