from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.channels import Answer, Channel, build_channels
from monitor.clock import FastClock
from monitor.outbox import Sender
from monitor.settings.schema import RecipientSettings
from monitor.settings.secrets import Secret
from monitor.store import OutboxRow, Store
from monitor.values import Message, Urgency, Verdict
from tests.receivers import HttpReceiver, SmtpReceiver
from tests.store.samples import delivery
from tests.waiting import free_port, wait_until

NOW_S = 1_800_000_000.0
FASTER = 600.0  # a back-off of 30 s passes in 0.05 s


@pytest.fixture
def store(tmp_path: Path):
    with Store.open(tmp_path / "store.db", NOW_S) as one:
        yield one


@contextmanager
def sending(store: Store, channels: dict[str, Channel], clock: FastClock | None = None):
    sender = Sender(store.path, channels, clock or FastClock(NOW_S, FASTER))
    sender.start()
    try:
        yield sender
    finally:
        sender.stop()


def channels(limit_s: float = 5.0, **urls: str) -> dict[str, Channel]:
    people = [RecipientSettings(name=name, urls=(Secret(url),)) for name, url in urls.items()]
    return dict(build_channels(people, limit_s))


def put(store: Store, *numbers: int, recipient: str = "Mara", **changes) -> None:
    store.add_events(
        [], [delivery(number, recipient, created_s=NOW_S, **changes) for number in numbers]
    )


def rows(store: Store) -> dict[str, OutboxRow]:
    return {one.delivery.message.message_id: one for one in store.outbox()}


def state(store: Store, message_id: str) -> str:
    return rows(store)[message_id].delivery.state


class Recorder:
    """A channel that hands on to a real one and keeps the ids it was asked to send."""

    def __init__(self, inner: Channel) -> None:
        self.inner = inner
        self.ids: list[str] = []

    @property
    def recipient(self) -> str:
        return self.inner.recipient

    def send(self, message: Message, taken: frozenset[str] = frozenset()) -> Answer:
        self.ids.append(message.message_id)
        return self.inner.send(message, taken)


def test_messages_leave_in_order_the_urgent_first(store: Store) -> None:
    put(store, 1, 2)
    put(store, 3, urgency=Urgency.NOW)
    with HttpReceiver() as receiver, sending(store, channels(Mara=receiver.url)):
        assert wait_until(lambda: len(receiver.taken) == 3)
        assert receiver.titles == [f"Bag B-0{number} is warm" for number in (3, 1, 2)]
        assert wait_until(lambda: store.counts().outbox == {"delivered": 3})


def test_a_message_put_in_later_leaves_at_once_when_woken(store: Store) -> None:
    with HttpReceiver() as receiver, sending(store, channels(Mara=receiver.url)) as sender:
        assert wait_until(lambda: sender.idle_s() < 1.0)
        put(store, 1)
        sender.wake()
        assert wait_until(lambda: receiver.taken, 3.0)


@pytest.mark.parametrize("mood", ["500", "hang", "refuse"])
def test_a_message_is_tried_again_until_it_is_taken_under_one_id(store: Store, mood: str) -> None:
    with HttpReceiver(mood) as receiver:
        if mood == "refuse":
            receiver.down()
        recorder = Recorder(channels(limit_s=0.1, Mara=receiver.url)["Mara"])
        put(store, 1)
        with sending(store, {"Mara": recorder}) as sender:
            assert wait_until(lambda: sender.health()[0].failing)
            assert sender.health()[0].since_s >= NOW_S
            if mood == "refuse":
                receiver.up()
            receiver.mood = "ok"
            if mood == "hang":  # what hangs is left behind until the receiver lets go
                receiver._ended.set()
            assert wait_until(lambda: state(store, "m1:Mara") == "delivered")
            assert not sender.health()[0].failing
        assert len(receiver.taken) == 1
    assert set(recorder.ids) == {"m1:Mara"} and len(recorder.ids) >= 4
    assert rows(store)["m1:Mara"].delivery.attempts == len(recorder.ids)


def test_a_server_that_drips_counts_once_it_is_done(store: Store) -> None:
    put(store, 1)
    with HttpReceiver("drip", drip_s=0.4) as receiver:
        with sending(store, channels(limit_s=0.1, Mara=receiver.url)):
            assert wait_until(lambda: state(store, "m1:Mara") == "delivered")
        assert len(receiver.asked) == 1


def test_mail_goes_out_through_the_outbox(store: Store) -> None:
    put(store, 1)
    with SmtpReceiver() as receiver, sending(store, channels(limit_s=9.0, Mara=receiver.url)):
        assert wait_until(lambda: receiver.taken)
        assert receiver.taken[0]["Subject"] == "Bag B-01 is warm"
        assert wait_until(lambda: state(store, "m1:Mara") == "delivered")


def test_a_channel_that_hangs_holds_up_nobody_else_and_success_is_not_repeated(
    store: Store,
) -> None:
    put(store, 1, 2, 3)
    put(store, 1, 2, 3, recipient="Ilse")
    with HttpReceiver("hang") as stuck, HttpReceiver() as sound:
        with sending(store, channels(limit_s=0.3, Mara=stuck.url, Ilse=sound.url)) as sender:
            assert wait_until(lambda: len(sound.taken) == 3, 2.0)
            assert wait_until(lambda: sender.health()[0].failures >= 2)
            assert len(sound.asked) == 3
            healths = {one.recipient: one for one in sender.health()}
            assert healths["Ilse"].failures == 0 and healths["Ilse"].delivered_s >= NOW_S
        assert state(store, "m1:Mara") == "waiting"


def test_after_a_restart_between_tries_the_same_id_goes_on(store: Store) -> None:
    put(store, 1)
    with HttpReceiver("500") as receiver:
        first = Recorder(channels(Mara=receiver.url)["Mara"])
        with sending(store, {"Mara": first}):
            assert wait_until(lambda: rows(store)["m1:Mara"].delivery.attempts >= 1)
        put(store, 1)  # the same event handled again after the restart
        receiver.mood = "ok"
        tried = rows(store)["m1:Mara"].delivery.attempts
        second = Recorder(channels(Mara=receiver.url)["Mara"])
        with sending(store, {"Mara": second}, FastClock(NOW_S + 3600.0, FASTER)):
            assert wait_until(lambda: state(store, "m1:Mara") == "delivered")
        assert len(receiver.taken) == 1
    assert second.ids == ["m1:Mara"]
    assert [(key, one.delivery.attempts) for key, one in rows(store).items()] == [
        ("m1:Mara", tried + 1)
    ]


def test_an_address_that_took_it_before_a_restart_is_not_asked_again(store: Store) -> None:
    put(store, 1)
    with HttpReceiver("500") as broken, HttpReceiver() as sound:
        both = (Secret(broken.url), Secret(sound.url))
        people = [RecipientSettings(name="Mara", urls=both)]
        with sending(store, dict(build_channels(people))):
            assert wait_until(lambda: rows(store)["m1:Mara"].taken)
        broken.mood = "ok"
        with sending(store, dict(build_channels(people)), FastClock(NOW_S + 3600.0, FASTER)):
            assert wait_until(lambda: state(store, "m1:Mara") == "delivered")
        assert (len(broken.taken), len(sound.asked)) == (1, 1)


def test_what_quiet_hours_held_arrives_as_one_message(store: Store) -> None:
    put(store, 1, 2, 3, due_s=NOW_S + 600.0)
    with HttpReceiver() as receiver, sending(store, channels(Mara=receiver.url)):
        assert wait_until(lambda: store.counts().outbox == {"delivered": 3})
        assert receiver.titles == ["3 notes: Bag B-01 is warm, …"]
    assert {one.bundle for one in rows(store).values()} == {"m1:Mara"}


def test_a_bundle_cut_off_by_a_restart_stays_the_same_bundle(store: Store) -> None:
    put(store, 1, 2, due_s=NOW_S + 1.0)
    with HttpReceiver("500") as receiver:
        with sending(store, channels(Mara=receiver.url)):
            assert wait_until(lambda: rows(store)["m2:Mara"].delivery.attempts >= 1)
        put(store, 3, due_s=NOW_S + 2.0)
        receiver.mood = "ok"
        with sending(store, channels(Mara=receiver.url), FastClock(NOW_S + 7200.0, FASTER)):
            assert wait_until(lambda: store.counts().outbox == {"delivered": 3})
        assert sorted(receiver.titles) == ["2 notes: Bag B-01 is warm, …", "Bag B-03 is warm"]


def test_a_message_for_nobody_in_the_settings_is_refused_by_name(store: Store) -> None:
    put(store, 1, recipient="Gone")
    with sending(store, {}):
        assert wait_until(lambda: state(store, "m1:Gone") == "refused")
    assert "no such recipient" in rows(store)["m1:Gone"].delivery.last_answer


def test_a_message_past_its_time_is_given_up_with_its_last_answer(store: Store) -> None:
    put(store, 1, expires_s=NOW_S + 300.0)
    refused = channels(Mara=f"json://127.0.0.1:{free_port()}")
    with sending(store, refused):
        assert wait_until(lambda: state(store, "m1:Mara") == "expired")
    answer = rows(store)["m1:Mara"].delivery.last_answer
    assert answer.startswith("given up; the last answer was: JSON: not reached")


def test_a_channel_that_breaks_its_word_and_raises_is_an_answer_too(store: Store) -> None:
    class Broken:
        recipient = "Mara"

        def send(self, message: Message, taken: frozenset[str] = frozenset()) -> Answer:
            raise ValueError("json://hush")

    put(store, 1)
    with sending(store, {"Mara": Broken()}) as sender:
        assert wait_until(lambda: sender.health()[0].failures >= 1)
    answer = rows(store)["m1:Mara"].delivery
    assert (answer.state, answer.last_answer) == ("waiting", "failed (ValueError)")


def test_a_refusal_for_good_is_settled_and_shown(store: Store) -> None:
    class Refusing:
        recipient = "Mara"

        def send(self, message: Message, taken: frozenset[str] = frozenset()) -> Answer:
            return Answer(Verdict.REFUSED, "nothing to send to")

    put(store, 1)
    with sending(store, {"Mara": Refusing()}) as sender:
        assert wait_until(lambda: state(store, "m1:Mara") == "refused")
        assert sender.health()[0].failing


def test_a_store_that_can_t_be_opened_yet_is_tried_again_without_an_end(tmp_path: Path) -> None:
    (tmp_path / "later").write_text("a file where a folder should be")
    sender = Sender(tmp_path / "later" / "store.db", {}, FastClock(NOW_S, FASTER))
    sender.start()
    assert wait_until(lambda: sender._problem)
    assert sender._thread.is_alive()
    sender.stop()
    assert not sender._thread.is_alive()


def test_stopping_lets_a_try_under_way_come_back_and_be_written(store: Store) -> None:
    put(store, 1)
    with HttpReceiver("drip", drip_s=0.5) as receiver:
        with sending(store, channels(Mara=receiver.url)):
            assert wait_until(lambda: receiver.asked)
        assert state(store, "m1:Mara") == "delivered"
