"""What a person asks of an alarm, from terminal or page: one set of rules, one row in the store."""

from __future__ import annotations

from monitor.errors import BookError
from monitor.judge.alarm_state import MOST_SHELVED_S, NEED_A_REASON, VERBS
from monitor.store import Reader, StandingAlarm, Store
from monitor.values import AlarmCommand

LONGEST_NOTE = 300


def ask_of_alarm(
    store: Store, now_s: float, who: str, alarm_id: str, verb: str, note: str, for_s: float
) -> StandingAlarm:
    """Write down what is asked; the running watch takes it in a second, else when it starts.

    `for_s` is how long to shelve. Raises BookError, with nothing written.
    """
    note = " ".join(note.split())[:LONGEST_NOTE]
    if verb not in VERBS:
        raise BookError(verb[:40], "can't be asked of an alarm", f"ask one of: {', '.join(VERBS)}")
    if verb in NEED_A_REASON and not note:
        raise BookError(verb, "say why", "who reads it later must know the reason")
    if verb == "shelve" and not 0 < for_s <= MOST_SHELVED_S:
        raise BookError(verb, "for more than nothing and at most 7 d", "choose how long")
    alarm = next((one for one in store.standing() if one.raised.alarm_id == alarm_id), None)
    if alarm is None:
        raise BookError(alarm_id[:40], "this alarm no longer stands", "look at the alarms anew")
    until_s = now_s + for_s if verb == "shelve" else None
    store.add_command(AlarmCommand(now_s, verb, alarm_id, who, note, until_s))
    return alarm


def pending(store: Reader) -> dict[str, str]:
    """What was asked of standing alarms since the last frame and is not told of them yet."""
    last = store.last_frame()
    told_s = {one.raised.alarm_id: one.latest.at_s for one in store.standing()}
    asked = [row.body for row in store.journal_after(last.last_command_id if last else 0)]
    return {
        one.alarm_id: one.verb
        for one in asked
        if isinstance(one, AlarmCommand) and one.at_s > told_s.get(one.alarm_id, one.at_s)
    }
