"""How far the copy at a server of time series is, what it refused; send a stretch again.

Without options it says what waits, since when, and the points the server would not take, by its
reasons. The copy goes on by itself while `watch` runs. --refill sends whole frames again, as for
a server that lost them: points it has already stay as they are.
Exit code 0: all well; 1: it could not be sent; 3: something wants a person.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from monitor.cli.arguments import no_block
from monitor.cli.exits import Exit
from monitor.cli.terminal import RED, YELLOW, paint, say, say_json
from monitor.clock import SystemClock
from monitor.errors import WordError
from monitor.mirror.refill import Resending, Resent
from monitor.settings.load import load_settings
from monitor.settings.schema import MirrorSettings, Settings
from monitor.sources.folder import RowError, parse_time_s
from monitor.store import Store, mirrored, open_reader
from monitor.words.quantities import counted

#: Reasons that are shown, the most frequent.
_REASONS_SHOWN = 8


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt mirror`."""
    parser.add_argument("--config", type=Path, required=True, help="settings folder")
    errand = parser.add_mutually_exclusive_group()
    errand.add_argument(
        "--refill",
        nargs=2,
        metavar=("FROM", "TO"),
        help="send this stretch again (ISO 8601, such as 2026-03-09T06:00Z)",
    )
    errand.add_argument(
        "--retry-parked", action="store_true", help="send what was refused once more"
    )
    parser.add_argument("--json", action="store_true", help="print as JSON")


def run(arguments: argparse.Namespace) -> Exit:
    """Say how it stands, or run an errand."""
    errand = bool(arguments.refill or arguments.retry_parked)
    settings = load_settings(arguments.config, os.environ, outside=errand)
    if settings.mirror is None:
        raise no_block(arguments.config, "mirror", "nothing is copied", "The mirror")
    if errand:
        return _send(settings, settings.mirror, arguments)
    found = look(settings, settings.mirror, SystemClock().wall_s())
    if arguments.json:
        say_json(found)
    else:
        _show(found)
    return Exit.FOUND if found["problem"] or found["parked"] or found["lost"] else Exit.DONE


def _send(settings: Settings, mirror: MirrorSettings, arguments: argparse.Namespace) -> Exit:
    clock = SystemClock()
    stretch = _stretch(arguments.refill) if arguments.refill else None
    open_reader(settings.store.path).close()  # an errand makes no store
    with Store.open(settings.store.path, clock.wall_s(), check=False) as store:
        resending = Resending(store, mirror, settings.room.name, clock)
        sent = resending.parked() if stretch is None else resending.stretch(*stretch)
    if arguments.json:
        told = {"taken": sent.taken, "refused": sent.refused, "gone": sent.gone}
        say_json(told | {"problem": sent.problem})
    else:
        _show_sent(sent)
    if sent.problem:
        return Exit.FAILED
    return Exit.FOUND if sent.refused or sent.gone else Exit.DONE


def _stretch(words: list[str]) -> tuple[float, float]:
    """FROM and TO in seconds. Raises WordError."""
    try:
        from_s, to_s = (parse_time_s(word) for word in words)
    except RowError as error:
        raise WordError("--refill", str(error), "name FROM and TO so") from error
    if not from_s < to_s:
        raise WordError("--refill", f"{words[0]} is not before {words[1]}", "name FROM, then TO")
    return from_s, to_s


def look(settings: Settings, mirror: MirrorSettings, now_s: float) -> dict[str, Any]:
    """How the copy stands, as plain data."""
    with open_reader(settings.store.path) as store:
        standing = mirrored.standing(store, mirror.target)
        place = standing.place if standing else mirrored.Place()
        readings, events, since_s = mirrored.behind(store, place)
        parked = mirrored.parked(store, mirror.target, mirrored.PARKED_KEPT)
    by_reason = Counter(one.reason for one in parked)
    newest = {one.reason: one.line for one in parked}
    return {
        "server": mirror.url,
        "bucket": mirror.bucket,
        "begun": standing is not None,
        "waiting_readings": readings,
        "waiting_events": events,
        "behind_s": 0.0 if since_s is None else max(0.0, now_s - since_s),
        "moved_s": standing.moved_s if standing else None,
        "sent": standing.sent if standing else 0,
        "refused": standing.refused if standing else 0,
        "lost": standing.lost if standing else 0,
        "problem": standing.problem if standing else "",
        "failing_s": standing.failing_s if standing else None,
        "parked": len(parked),
        "reasons": [
            {"reason": reason, "count": count, "newest": newest[reason]}
            for reason, count in by_reason.most_common(_REASONS_SHOWN)
        ],
    }


def _show(found: dict[str, Any]) -> None:
    say(f"{found['server']}, bucket {found['bucket']}")
    if not found["begun"]:
        say("nothing sent yet: `bagwatt watch` begins it")
    if found["problem"]:
        say(paint(f"trouble since {_moment(found['failing_s'])}: {found['problem']}", RED))
    readings = counted(found["waiting_readings"], "reading", "readings")
    events = counted(found["waiting_events"], "alarm event", "alarm events")
    late = f", the oldest for {found['behind_s'] / 60:.0f} min" if found["waiting_readings"] else ""
    say(f"waiting: {readings} and {events}{late}")
    say(f"sent: {counted(found['sent'], 'point', 'points')}, last {_moment(found['moved_s'])}")
    if found["lost"]:
        lost = counted(found["lost"], "reading was", "readings were")
        text = f"{lost} thrown away (store.retention) before being sent"
        say(paint(text, YELLOW))
    if found["refused"]:
        refused = counted(found["refused"], "point", "points")
        say(paint(f"refused: {refused}, {found['parked']} still parked", YELLOW))
    for one in found["reasons"]:
        say(f"  {one['count']} × {one['reason']}")
        say(f"      such as {one['newest']}")


def _show_sent(sent: Resent) -> None:
    say(f"{counted(sent.taken, 'point', 'points')} sent, {sent.refused} refused")
    if sent.gone:
        gone = counted(sent.gone, "reading of that stretch is", "readings of that stretch are")
        say(paint(f"{gone} no longer in the store", YELLOW))
    if sent.problem:
        say(paint(f"stopped: {sent.problem}; run it again, nothing is doubled", RED))


def _moment(at_s: float | None) -> str:
    if at_s is None:
        return "never"
    return datetime.fromtimestamp(at_s, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
