"""The sender turned by hand: tries end at once, so each turn shows what it does with their end."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from datetime import UTC
from pathlib import Path

import pytest

from monitor.channels import Answer
from monitor.outbox import Sender, quiet_hours
from monitor.settings.schema import QuietSettings, RecipientSettings
from monitor.settings.secrets import Secret
from monitor.store import Store
from monitor.values import Message, Urgency, Verdict
from tests.clocks import TurnedClock
from tests.store.samples import delivery
from tests.waiting import wait_until

NOW_S = 1_800_000_000.0  # 15 January 2027, 08:00 UTC
WHO_SLEEPS = RecipientSettings(
    name="Jo", urls=(Secret("json://x"),), quiet=QuietSettings(from_minute=1320, until_minute=390)
)


class Answering:
    """A channel that answers as it is told to."""

    def __init__(self, recipient: str) -> None:
        self.recipient = recipient
        self.verdict = Verdict.DELIVERED
        self.asked: list[str] = []

    def send(self, message: Message, taken: frozenset[str] = frozenset()) -> Answer:
        self.asked.append(message.message_id)
        return Answer(self.verdict, self.verdict.value, taken)


class Outbox:
    """A store with its sender."""

    def __init__(self, store: Store) -> None:
        self.store, self.clock = store, TurnedClock(NOW_S)
        self.under_way: list[Callable[[], None]] = []
        self.people = {name: Answering(name) for name in ("Mara", "Jo")}
        quiet = quiet_hours([WHO_SLEEPS], UTC)
        self.sender = Sender(store.path, self.people, self.clock, quiet, lambda work: work())

    def put(self, number: int, recipient: str = "Mara", urgency: Urgency = Urgency.TODAY) -> None:
        one = delivery(number, recipient, created_s=self.clock.wall_s(), urgency=urgency)
        self.store.add_events([], [one])

    def turn(self, passed_s: float = 0.0) -> None:
        """Begin what is due, then write down what came of it."""
        self.clock.pass_s(passed_s)
        for _ in range(2):
            self.sender.turn(self.store, self.clock.wall_s())

    def states(self) -> dict[str, str]:
        return {row.delivery.message.message_id: row.delivery.state for row in self.store.outbox()}


@pytest.fixture
def outbox(tmp_path: Path) -> Iterator[Outbox]:
    with Store.open(tmp_path / "store.db", NOW_S) as store:
        yield Outbox(store)


def test_tries_of_two_people_that_end_together_are_both_written_down(outbox: Outbox) -> None:
    outbox.put(1, "Mara")
    outbox.put(2, "Jo")
    outbox.turn()
    assert outbox.states() == {"m1:Mara": "delivered", "m2:Jo": "delivered"}


def test_a_channel_that_failed_rests_for_all_messages_but_an_urgent_one(outbox: Outbox) -> None:
    mara = outbox.people["Mara"]
    mara.verdict = Verdict.TRY_AGAIN
    outbox.put(1)
    outbox.turn()
    outbox.put(2)
    outbox.turn(5.0)
    assert mara.asked == ["m1:Mara"]
    outbox.put(3, urgency=Urgency.NOW)
    outbox.turn(1.0)
    assert mara.asked == ["m1:Mara", "m3:Mara"]


def test_a_channel_that_delivered_rests_no_longer(outbox: Outbox) -> None:
    mara = outbox.people["Mara"]
    mara.verdict = Verdict.TRY_AGAIN
    outbox.put(1)
    outbox.turn()
    mara.verdict = Verdict.DELIVERED
    outbox.put(2, urgency=Urgency.NOW)
    outbox.turn(5.0)
    outbox.put(3)
    outbox.turn(1.0)
    assert mara.asked == ["m1:Mara", "m2:Mara", "m3:Mara"]
    (health,) = [one for one in outbox.sender.health() if one.recipient == "Mara"]
    assert (health.failures, health.failing, health.since_s) == (0, False, None)


def test_what_waited_for_a_channel_into_the_quiet_hours_waits_for_their_end(outbox: Outbox) -> None:
    """The network is gone in the evening and there again at three in the morning."""
    outbox.turn(13.9 * 3600.0)  # five to ten in the evening
    channel = outbox.people["Jo"]
    channel.verdict = Verdict.TRY_AGAIN
    outbox.put(1, "Jo")
    outbox.turn()
    outbox.put(2, "Jo", Urgency.NOW)
    outbox.turn(1.0)
    channel.verdict = Verdict.DELIVERED
    outbox.turn(5 * 3600.0)
    outbox.turn()
    assert channel.asked == ["m1:Jo", "m2:Jo", "m2:Jo"]
    outbox.turn(4 * 3600.0)
    assert channel.asked[3:] == ["m1:Jo"]


def test_a_clock_that_is_set_back_puts_off_no_message(outbox: Outbox) -> None:
    """Up in the future, as a clock of the room's own may be, until the network brings the time."""
    outbox.people["Mara"].verdict = Verdict.TRY_AGAIN
    outbox.put(1, urgency=Urgency.NOW)
    outbox.put(2)
    outbox.turn()
    assert outbox.people["Mara"].asked == ["m1:Mara"]
    outbox.clock.step_s(-5 * 3600.0)
    outbox.people["Mara"].verdict = Verdict.DELIVERED
    outbox.turn(1.0)
    outbox.turn()
    assert outbox.people["Mara"].asked == ["m1:Mara", "m1:Mara", "m2:Mara"]


def test_a_clock_that_is_set_back_brings_no_held_message_forward(outbox: Outbox) -> None:
    now_s = outbox.clock.wall_s()
    held = delivery(1, "Mara", created_s=now_s, due_s=now_s + 8 * 3600.0)
    outbox.store.add_events([], [held])
    outbox.clock.step_s(-5 * 3600.0)
    outbox.turn()
    assert outbox.people["Mara"].asked == []


def test_a_channel_that_refuses_is_failing_at_once_and_one_in_trouble_after_three(
    outbox: Outbox,
) -> None:
    mara, jo = outbox.people["Mara"], outbox.people["Jo"]
    mara.verdict, jo.verdict = Verdict.REFUSED, Verdict.TRY_AGAIN
    outbox.put(1, "Mara")
    outbox.put(2, "Jo")
    failing = []
    for _ in range(3):
        outbox.turn(3600.0)
        failing.append({one.recipient for one in outbox.sender.health() if one.failing})
    assert failing == [{"Mara"}, {"Mara"}, {"Mara", "Jo"}]
    assert outbox.states() == {"m1:Mara": "refused", "m2:Jo": "waiting"}


def test_a_person_is_tried_one_message_at_a_time(outbox: Outbox) -> None:
    """Also while the try takes long: the next one waits for its end."""
    sender = Sender(outbox.store.path, outbox.people, outbox.clock, spawn=outbox.under_way.append)
    outbox.put(1)
    outbox.put(2)
    for _ in range(3):
        sender.turn(outbox.store, outbox.clock.wall_s())
    assert len(outbox.under_way) == 1
    outbox.under_way[0]()
    for _ in range(2):
        sender.turn(outbox.store, outbox.clock.wall_s())
    assert len(outbox.under_way) == 2


def test_a_try_that_never_ends_keeps_the_sender_no_longer_than_its_limit(outbox: Outbox) -> None:
    sender = Sender(outbox.store.path, outbox.people, outbox.clock, spawn=outbox.under_way.append)
    outbox.put(1)
    sender.start()
    wait_until(lambda: outbox.under_way, what="a try")
    sender.stop(0.2)
    wait_until(lambda: "outbox" not in {one.name for one in threading.enumerate()}, what="the end")
