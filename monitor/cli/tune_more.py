"""`bagwatt tune --promise` and `--watcher`: the program held against its own targets."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.cli.asking import open_card
from monitor.cli.exits import Exit
from monitor.cli.terminal import ProgressBar, say, say_error, say_json
from monitor.cli.tuning import gather, plain
from monitor.review.promise import promise_lines, promises
from monitor.review.watcher import Person, month_lines, months
from monitor.settings.schema import Settings

MOST_EVENTS = 1_000_000


def promise(settings: Settings, folders: Sequence[Path], as_json: bool) -> Exit:
    """Whether false calls are as few as promised; FOUND where they are not."""
    bar = ProgressBar("promise")
    try:
        gathered = gather(settings, None, folders, bar)
    finally:
        bar.end()
    found = promises(gathered.rooms, settings.strains.lookup)
    if as_json:
        say_json(plain(found))
    elif not found:
        say("no bag is known to have ended healthy: `bagwatt bag` enters outcomes")
    else:
        for line in promise_lines(found):
            say(line)
    return Exit.FOUND if any(one.verdict == "not kept" for one in found) else Exit.DONE


def watcher(settings: Settings, as_json: bool) -> Exit:
    """Alarms of each month and person against the published targets; FOUND where one is missed."""
    with open_card(settings) as store:
        events = store.events(limit=MOST_EVENTS)
        notes = store.notes(limit=MOST_EVENTS)[:1]
        last = store.last_frame()
    if last is None:
        say_error("there is no history: no frame was ever closed here; let `bagwatt watch` run")
        return Exit.UNUSABLE
    people = [
        Person(one.name, frozenset(one.kinds or ()), one.least_urgency)
        for one in settings.recipients
    ] or [Person("anybody")]
    moments = [one.at_s for one in events] + [one.at_s for one in notes]
    first_s = min(moments, default=last.closed_s)
    span = (min(first_s, last.closed_s), last.closed_s)
    found = months(events, people, span, ZoneInfo(settings.room.timezone))
    if as_json:
        say_json([{**plain(month), "help": list(month.help)} for month in found])
    else:
        for month in found:
            for line in month_lines(month):
                say(line)
    return Exit.FOUND if any(month.help for month in found) else Exit.DONE
