"""A room whose clock is ahead for a while, and what its store then tells."""

from __future__ import annotations

from pathlib import Path

from monitor.channels import Answer
from monitor.resume import resume
from monitor.settings.load import load_settings
from monitor.store import OutboxRow, open_reader
from monitor.values import AlarmEvent, Message, Reason, Transition, Verdict
from tests.clocks import TurnedClock
from tests.test_clock_faults import Watch

DAY_S = 86400.0
MONTH_S = 30 * DAY_S
SETTINGS = """\
room: {name: Quarry Lane, folder: room, timezone: Europe/London, band_low: 10 C, band_high: 30 C}
sources: [{kind: mqtt, name: broker, host: h, topics: [{topic: "quarry/{probe}/temp"}]}]
recipients: [{name: owner, urls: [{env: URL}]}]
store: {path: bagwatt.db}
frames: {length: 1 min, grace: 1 s}
"""
WARM_C = 40.0


class Deaf:
    """A person who can't be reached just now, so that every message stays in the outbox."""

    recipient = "owner"

    def send(self, message: Message, taken: frozenset[str] = frozenset()) -> Answer:
        return Answer(Verdict.TRY_AGAIN, "answered 503")


def watch(folder: Path, clock: TurnedClock) -> Watch:
    return Watch(folder, clock, {"channels": lambda _: {"owner": Deaf()}})


def events(folder: Path) -> list[AlarmEvent]:
    with open_reader(folder / "bagwatt.db") as store:
        return store.events()


def raised(folder: Path, reason: Reason) -> list[AlarmEvent]:
    return [
        one
        for one in events(folder)
        if one.reason is reason and one.transition is Transition.RAISED
    ]


def outbox(folder: Path) -> dict[str, OutboxRow]:
    with open_reader(folder / "bagwatt.db") as store:
        return {one.delivery.message.message_id: one for one in store.outbox()}


def same_story(folder: Path) -> None:
    """A replay of the whole log tells what the watch told; no frame is in the future."""
    settings = load_settings(folder, {"URL": "json://127.0.0.1:9/nobody"})
    with open_reader(folder / "bagwatt.db") as store:
        assert resume(store, settings, from_start=True).events == store.events()
