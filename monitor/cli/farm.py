"""All rooms of the farm at a glance, and spawn lots that are bad in two of them.

It listens for at most three seconds to what each room tells at the broker of `neighbours` in the
settings, and publishes nothing. A room counts as heard while its monitor holds its name there
and its last word is not older than three of its frames and five minutes.
Exit code 0: all well; 1: the broker can't be reached or no room is heard; 3: a room is not heard
or has an unanswered alarm for now or today, or a lot is bad in two rooms.
"""

from __future__ import annotations

import argparse
import os
from datetime import tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.cli.arguments import no_block
from monitor.cli.exits import Exit
from monitor.cli.terminal import BOLD, RED, YELLOW, paint, say, say_json, table
from monitor.clock import SystemClock
from monitor.errors import FarmError
from monitor.farm.listener import Heard, Listener
from monitor.farm.lot_nouns import Side
from monitor.farm.room_words import (
    air_words,
    alarm_counts,
    bag_words,
    heard_words,
    monitor_troubles,
)
from monitor.farm.standing import RoomStanding
from monitor.farm.words import lot_caution, lot_claim, lot_do, lot_findings
from monitor.settings.load import load_settings
from monitor.settings.schema import Settings
from monitor.settings.schema_neighbours import NeighbourSettings
from monitor.terms import Urgency
from monitor.words.naming import capital, clean
from monitor.words.quantities import counted

LISTEN_S = 3.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of `bagwatt farm`."""
    parser.add_argument("--config", type=Path, required=True, help="settings folder of any room")
    parser.add_argument("--json", action="store_true", help="print as JSON")


def run(arguments: argparse.Namespace) -> Exit:
    """Listen, show."""
    settings = load_settings(arguments.config, os.environ)
    if settings.neighbours is None:
        raise no_block(arguments.config, "neighbours", "no room is heard", "Several rooms")
    heard = _listen(settings.neighbours)
    if arguments.json:
        from monitor.farm.plain import farm_as_plain  # noqa: PLC0415

        say_json(farm_as_plain(heard))
    else:
        _show(heard, settings)
    rooms = heard.view.rooms
    wanting = any(not one.heard or one.open_now or one.open_today for one in rooms)
    return Exit.FOUND if wanting or heard.lots.bad or heard.view.refused else Exit.DONE


def _listen(settings: NeighbourSettings) -> Heard:
    """What the broker keeps of all rooms. Raises FarmError."""
    listener = Listener(settings, SystemClock())
    try:
        listener.start()
    except (OSError, ValueError) as error:
        next_step = "mend `neighbours.tls` in the settings"
        raise FarmError("the certificates", str(error), next_step) from error
    try:
        heard = listener.wait_settled(LISTEN_S)
    finally:
        listener.stop()
    line = heard.line
    if not line.up:
        next_step = "see that it runs, and `neighbours` in the settings"
        raise FarmError("the broker", line.problem or f"{line.where} does not answer", next_step)
    if not heard.view.rooms:
        next_step = (
            f"set `neighbours` in each room's settings, and let this login read"
            f" {settings.prefix}/# in the broker's ACL"
        )
        what = line.problem or f"no room is heard under {settings.prefix}"
        raise FarmError(line.where, what, next_step)
    return heard


def _show(heard: Heard, settings: Settings) -> None:
    units, zone = settings.room.units, ZoneInfo(settings.room.timezone)
    head = ("ROOM", "HEARD", "AIR", "BAGS", "NOW", "TODAY", "LATER", "ITS MONITOR")
    say(table(head, [_row(one, units, zone, heard.at_s) for one in heard.view.rooms]))
    if heard.view.left_out:
        left_out = counted(heard.view.left_out, "further room is", "further rooms are")
        say(paint(f"{left_out} not shown", YELLOW))
    for one in heard.view.refused:
        say(paint(f"not understood: {clean(one.topic)}: {one.reason}: {one.detail}", YELLOW))
    say()
    if not heard.lots.bad:
        count = len(heard.lots.lots)
        watched = f" ({count} {'stands' if count == 1 else 'stand'} in two rooms or more)"
        say(f"no spawn lot is bad in two rooms{watched if count else ''}")
    for lot in heard.lots.bad:
        say(paint(f"{capital(lot_claim(lot))}.", RED if lot.side is Side.WARM else BOLD))
        for line in (*lot_findings(lot, units), lot_caution(lot), lot_do(lot)):
            if line:
                say(f"  {line}")


def _row(room: RoomStanding, units: str, zone: tzinfo, now_s: float) -> list[str]:
    counts = alarm_counts(room)
    air = air_words(room.summary.air, units) if room.summary else "?"
    return [
        clean(room.room),
        heard_words(room, zone, now_s),
        air,
        bag_words(room),
        *(counts[one] for one in (Urgency.NOW, Urgency.TODAY, Urgency.LATER)),
        "; ".join(monitor_troubles(room)) or ("well" if room.heard else "?"),
    ]
