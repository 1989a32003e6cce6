"""The store opened for a command's questions, and a word where the card has not all of it."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from monitor.cli.terminal import say_error
from monitor.settings.schema import Settings
from monitor.store import Reader, open_reader
from monitor.store.spare import Outage, outage
from monitor.telling import local_stamp


def outage_of(settings: Settings) -> Outage | None:
    """Whether the watch writes a spare just now, as its card fails."""
    return outage(settings.store.path, settings.store.spare)


def outage_text(failing: Outage, settings: Settings) -> str:
    """The outage as a line for a person."""
    since = local_stamp(failing.since_s, ZoneInfo(settings.room.timezone))
    return f"{settings.store.path} can't be written since {since}; what came since: {failing.path}"


def open_card(settings: Settings) -> Reader:
    """The card's store, with all that came before an outage. Raises StoreError."""
    failing = outage_of(settings)
    if failing is not None:
        say_error(f"{outage_text(failing, settings)} (not shown here)")
    return open_reader(settings.store.path)


def open_newest(settings: Settings) -> Reader:
    """The store that is written just now: with what stands, not with all that was.

    Raises StoreError.
    """
    failing = outage_of(settings)
    if failing is None:
        return open_reader(settings.store.path)
    say_error(f"{outage_text(failing, settings)} (shown here)")
    return open_reader(failing.path)
