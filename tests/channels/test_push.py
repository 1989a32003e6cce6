from __future__ import annotations

import io
import logging
import time

import pytest

from monitor.channels import build_channels, usable
from monitor.channels.address import LEFT_BEHIND_MOST
from monitor.errors import ChannelError
from monitor.settings.schema import RecipientSettings
from monitor.settings.secrets import Secret
from monitor.values import Message, Urgency, Verdict
from tests.receivers import HttpReceiver, SmtpReceiver
from tests.waiting import free_port, wait_until


def person(*urls: str, name: str = "Mara") -> RecipientSettings:
    return RecipientSettings(name=name, urls=tuple(Secret(url) for url in urls))


def message(number: int = 1, urgency: Urgency = Urgency.TODAY) -> Message:
    return Message(f"m{number}", "Mara", "Bag B-07 is warm", "27.1 °C: go & <look>.", urgency, 0.0)


def channel(*urls: str, limit_s: float = 5.0):
    return build_channels([person(*urls)], limit_s)["Mara"]


def test_a_message_arrives_with_title_and_text_as_written() -> None:
    with HttpReceiver() as receiver:
        answer = channel(receiver.url).send(message(urgency=Urgency.NOW))
    assert answer.verdict is Verdict.DELIVERED
    (taken,) = receiver.taken
    assert (taken["title"], taken["message"]) == ("Bag B-07 is warm", "27.1 °C: go & <look>.")
    assert taken["type"] == "warning"


def test_mail_arrives_as_text() -> None:
    with SmtpReceiver() as receiver:
        answer = channel(receiver.url, limit_s=10.0).send(message())
    assert answer.verdict is Verdict.DELIVERED
    (mail,) = receiver.taken
    parts = [part for part in mail.walk() if part.get_content_type() == "text/plain"]
    assert "27.1 °C: go & <look>." in parts[0].get_payload(decode=True).decode()


def test_mail_put_off_by_the_server_is_tried_again() -> None:
    with SmtpReceiver() as receiver:
        receiver.reply = "451 later"
        mail = channel(receiver.url, limit_s=10.0)
        assert mail.send(message()).verdict is Verdict.TRY_AGAIN


@pytest.mark.parametrize("mood", ["500", "404", "429", "301"])
def test_an_answer_that_is_no_success_is_tried_again_and_told_by_its_number(mood: str) -> None:
    with HttpReceiver(mood) as receiver:
        answer = channel(receiver.url).send(message())
    assert answer.verdict is Verdict.TRY_AGAIN
    assert f"answered {mood}" in answer.detail


def test_a_refused_connection_is_tried_again() -> None:
    answer = channel(f"json://127.0.0.1:{free_port()}").send(message())
    assert answer.verdict is Verdict.TRY_AGAIN
    assert "not reached" in answer.detail


def test_a_server_that_hangs_is_left_within_the_limit() -> None:
    with HttpReceiver("hang") as receiver:
        hanging = channel(receiver.url, limit_s=0.2)
        begun = time.monotonic()
        answer = hanging.send(message())
        assert time.monotonic() - begun < 3.0  # Apprise alone would wait 4 s
    assert (answer.verdict, answer.detail) == (Verdict.TRY_AGAIN, "no answer in 0 s")


def test_a_success_after_the_limit_is_not_sent_twice() -> None:
    with HttpReceiver("drip", drip_s=0.5) as receiver:
        slow = channel(receiver.url, limit_s=0.1)
        assert slow.send(message()).verdict is Verdict.TRY_AGAIN
        assert slow.send(message()).verdict is Verdict.TRY_AGAIN  # joins the one under way
        assert wait_until(lambda: receiver.taken)
        assert wait_until(lambda: slow.send(message()).verdict is Verdict.DELIVERED)
        assert len(receiver.asked) == 1


def test_a_message_sent_again_on_purpose_goes_again() -> None:
    with HttpReceiver() as receiver:
        again = channel(receiver.url)
        assert {again.send(message()).verdict for _ in range(2)} == {Verdict.DELIVERED}
        assert len(receiver.taken) == 2


def test_tries_left_behind_are_bounded() -> None:
    with HttpReceiver("hang") as receiver:
        hanging = channel(receiver.url, limit_s=0.05)
        details = [hanging.send(message(number)).detail for number in range(LEFT_BEHIND_MOST + 1)]
        assert details[-1] == "earlier messages still hang there"
        assert wait_until(lambda: len(receiver.asked) == LEFT_BEHIND_MOST)


def test_an_address_that_hangs_does_not_hold_up_the_other_and_only_it_is_tried_again() -> None:
    with HttpReceiver("hang") as slow, HttpReceiver() as quick:
        both = channel(slow.url, quick.url, limit_s=0.5)
        first = both.send(message())
        assert first.verdict is Verdict.TRY_AGAIN
        assert first.detail.startswith("1 of 2 addresses took it")
        assert len(quick.taken) == 1
        both.send(message(), first.taken)
        assert len(quick.asked) == 1


def test_a_partial_success_is_known_again_by_a_channel_built_anew() -> None:
    with HttpReceiver("500") as broken, HttpReceiver() as sound:
        taken = channel(broken.url, sound.url).send(message()).taken
        broken.mood = "ok"
        answer = channel(broken.url, sound.url).send(message(), taken)
    assert answer.verdict is Verdict.DELIVERED
    assert (len(broken.taken), len(sound.taken)) == (1, 1)


def test_a_url_apprise_can_t_use_names_the_person_and_the_place_but_not_the_url() -> None:
    with pytest.raises(ChannelError) as caught:
        build_channels([person("json://127.0.0.1/ok", "nonsense://hush@nowhere")])
    assert "recipient Mara, url 2" in str(caught.value)
    assert "hush" not in str(caught.value)


def test_usable_addresses_are_counted_over_all() -> None:
    assert usable(build_channels([])) == 0
    two = [person("json://127.0.0.1/a", "json://127.0.0.1/b"), person("json://h", name="Ilse")]
    assert usable(build_channels(two)) == 3


def test_no_secret_reaches_a_log_or_an_answer(capfd: pytest.CaptureFixture[str]) -> None:
    root, log = logging.getLogger(), io.StringIO()
    handler, level = logging.StreamHandler(log), root.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    try:
        with HttpReceiver("500") as receiver:
            local = f"127.0.0.1:{receiver.port}"
            secret = channel(f"json://hushuser:hushword@{local}/hushpath?+X-Key=hushkey")
            details = [secret.send(message()).detail]
            assert len(receiver.asked) == 1
        details.append(secret.send(message()).detail)
        with pytest.raises(ChannelError) as caught:
            build_channels([person("hushscheme://hushhost")])
        logging.getLogger("bagwatt.test").debug("the log is listening")
    finally:
        root.removeHandler(handler)
        root.setLevel(level)
    shown = log.getvalue() + "".join(details) + str(caught.value) + "".join(capfd.readouterr())
    assert "the log is listening" in shown
    assert "hush" not in shown
