"""List alarms, answer them: acknowledge, shelve, take out of service and back.

Without a word more it lists what stands, each with its numbers of when it was last told of.
What you ask of an alarm is written into the store and taken by the running `watch` within
seconds, else when it starts. An ALARM is the short id in the first column; its beginning is
enough where it fits only one.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Mapping
from datetime import tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from monitor.book.answers import ask_of_alarm, pending
from monitor.cli.arguments import duration_argument, user_name
from monitor.cli.asking import open_newest
from monitor.cli.exits import Exit
from monitor.cli.terminal import say, say_error, say_json, table
from monitor.clock import SystemClock
from monitor.errors import StoreError
from monitor.judge.alarm_state import VERBS
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.store import StandingAlarm, Store
from monitor.store.spare import newest
from monitor.telling import event_line, local_stamp
from monitor.values import AlarmEvent
from monitor.words import one_line


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt alarms`."""
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    parser.add_argument("--json", action="store_true", help="print as JSON")
    parser.add_argument(
        "--history",
        type=duration_argument,
        metavar="DURATION",
        help="all that happened in this time, such as `2 d`",
    )
    for verb, text in VERBS.items():
        parser.add_argument(f"--{verb.replace(' ', '-')}", metavar="ALARM", help=text)
    parser.add_argument(
        "--for",
        dest="for_s",
        type=duration_argument,
        default="12 h",
        metavar="DURATION",
        help="how long to shelve, at most 7 d (default 12 h)",
    )
    parser.add_argument("--why", default="", help="reason, needed to shelve or take out of service")


def run(arguments: argparse.Namespace) -> Exit:
    """List, or write down what is asked."""
    settings = load_settings(arguments.config, os.environ, outside=False)
    zone = ZoneInfo(settings.room.timezone)
    asked = [
        (verb, wanted)
        for verb in VERBS
        if (wanted := getattr(arguments, verb.replace(" ", "_"))) is not None
    ]
    if len(asked) > 1:
        say_error("ask one thing at a time")
        return Exit.UNUSABLE
    if asked:
        return _ask(settings, *asked[0], arguments, zone)
    if arguments.history is not None:
        return _history(settings, arguments, zone)
    return _standing(settings, arguments, zone)


def _standing(settings: Settings, arguments: argparse.Namespace, zone: tzinfo) -> Exit:
    with open_newest(settings) as store:
        alarms, asked = store.standing(), pending(store)
    unanswered = [
        one for one in alarms if not (one.acknowledged_by or one.shelved or one.suppressed)
    ]
    if arguments.json:
        say_json([_as_json(one, asked, settings, zone) for one in alarms])
    elif not alarms:
        say("no alarm stands")
    else:
        rows = [
            (
                one.raised.alarm_id,
                local_stamp(one.raised.at_s, zone),
                local_stamp(one.latest.at_s, zone),
                one.latest.urgency,
                _state(one, asked),
                one_line(one.latest, settings.room.units, zone),
            )
            for one in alarms
        ]
        say(table(("ALARM", "STANDS SINCE", "AS TOLD", "URGENCY", "STATE", "WHAT"), rows))
    return Exit.FOUND if unanswered else Exit.DONE


def _state(alarm: StandingAlarm, asked: Mapping[str, str]) -> str:
    """How it stands, and what the watch has not taken yet."""
    verb = asked.get(alarm.raised.alarm_id)
    return f"{alarm.state} ({verb}: asked)" if verb else alarm.state


def _as_json(
    alarm: StandingAlarm, asked: Mapping[str, str], settings: Settings, zone: tzinfo
) -> dict[str, Any]:
    return {
        "alarm": alarm.raised.alarm_id,
        "kind": alarm.raised.kind,
        "subject": alarm.raised.subject,
        "urgency": alarm.latest.urgency,
        "reason": alarm.latest.reason,
        "state": alarm.state,
        "asked": asked.get(alarm.raised.alarm_id),
        "raised_s": alarm.raised.at_s,
        "told_s": alarm.latest.at_s,
        "first_in": alarm.raised.first_in,
        "acknowledged_s": alarm.acknowledged_s,
        "message": one_line(alarm.latest, settings.room.units, zone),
    }


def _history(settings: Settings, arguments: argparse.Namespace, zone: tzinfo) -> Exit:
    with open_newest(settings) as store:
        last = store.last_frame()
        now_s = last.closed_s if last else SystemClock().wall_s()
        events = store.events(now_s - arguments.history)
    if arguments.json:
        say_json([_event_json(event, settings, zone) for event in events])
        return Exit.DONE
    for event in events:
        say(f"{event.alarm_id}  {event_line(event, settings.room.units, zone)}")
    if not events:
        say("nothing happened in that time")
    return Exit.DONE


def _event_json(event: AlarmEvent, settings: Settings, zone: tzinfo) -> dict[str, Any]:
    return {
        "alarm": event.alarm_id,
        "at_s": event.at_s,
        "kind": event.kind,
        "subject": event.subject,
        "transition": event.transition,
        "urgency": event.urgency,
        "reason": event.reason,
        "by": event.by,
        "note": event.note,
        "message": one_line(event, settings.room.units, zone),
    }


def _ask(
    settings: Settings, verb: str, wanted: str, arguments: argparse.Namespace, zone: tzinfo
) -> Exit:
    path = newest(settings.store.path, settings.store.spare)
    if not path.exists():
        raise StoreError(str(path), "there is no store yet", "start `bagwatt watch`")
    now_s = SystemClock().wall_s()
    with Store.open(path, now_s) as store:
        ids = [one.raised.alarm_id for one in store.standing()]
        fits = [one for one in ids if one.startswith(wanted)]
        if len(fits) != 1:
            found = "no alarm" if not fits else f"{len(fits)} alarms"
            say_error(f"{found} with an id beginning {wanted}: `bagwatt alarms` lists them")
            return Exit.UNUSABLE
        alarm = ask_of_alarm(
            store, now_s, user_name(), fits[0], verb, arguments.why, arguments.for_s
        )
    say(f"{verb}, asked: {one_line(alarm.latest, settings.room.units, zone)}")
    return Exit.DONE
