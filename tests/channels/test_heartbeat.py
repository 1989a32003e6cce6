"""The outside heartbeat against a real HTTP receiver: beats while all is well, and only then."""

from __future__ import annotations

import time

import pytest

from monitor.channels.heartbeat import Heartbeat, HeartbeatHealth, beat
from monitor.clock import FastClock
from monitor.house import of_heartbeat
from monitor.settings.schema import HeartbeatSettings
from monitor.settings.secrets import Secret
from monitor.values import Reason
from tests.pings import Switch
from tests.waiting import free_port, wait_until

NOW_S = 1_800_000_000.0
FASTER = 3000.0  # five minutes pass in 0.1 s


def beating(url: str, alive: list[bool]) -> Heartbeat:
    settings = HeartbeatSettings(url=Secret(url))
    return Heartbeat(settings, FastClock(NOW_S, FASTER), lambda: alive[0], limit_s=0.3)


def test_a_beat_is_a_plain_get_of_the_whole_address() -> None:
    with Switch() as switch:
        assert beat(switch.url) == ""
        assert switch.asked == ["/beat/s3cret-path?k=v"]


@pytest.mark.parametrize(("mood", "says"), [("503", "answered 503"), ("302", "answered 302")])
def test_an_answer_other_than_2xx_is_told(mood: str, says: str) -> None:
    """A redirect is not followed: where it leads is not what the grower wrote down."""
    with Switch(mood) as switch:
        assert beat(switch.url) == says


@pytest.mark.parametrize(("mood", "says"), [("hang", "no answer (TimeoutError)"), ("drip", "")])
def test_a_switch_that_hangs_or_drips_is_left_in_time(mood: str, says: str) -> None:
    """The one that drips has answered 200 before it began to: it has heard the beat."""
    with Switch(mood) as switch:
        began_s = time.monotonic()
        assert beat(switch.url, limit_s=0.4) == says
        assert time.monotonic() - began_s < 5


@pytest.mark.parametrize(
    "url", ["http://127.0.0.1:{port}/s3cret", "http://[s3cret", "http://127.0.0.1:99999/s3cret"]
)
def test_a_switch_that_is_not_there_is_told_without_its_address(url: str) -> None:
    fault = beat(url.format(port=free_port()))
    assert fault.startswith("not reached")
    assert "s3cret" not in fault


def test_it_beats_only_while_every_part_gets_on() -> None:
    """Silence is what the switch waits for: a stuck part must make it silent."""
    alive = [True]
    with Switch() as switch:
        heartbeat = beating(switch.url, alive)
        heartbeat.start()
        try:
            wait_until(lambda: len(switch.asked) >= 2, what="two beats")
            alive[0] = False
            time.sleep(0.15)
            count = len(switch.asked)
            time.sleep(0.5)  # five intervals
            assert len(switch.asked) == count
            alive[0] = True
            wait_until(lambda: len(switch.asked) > count, what="a beat again")
        finally:
            heartbeat.stop()


def test_a_switch_that_fails_is_a_house_alarm_and_returns() -> None:
    with Switch("500") as switch:
        heartbeat = beating(switch.url, [True])
        heartbeat.start()
        try:
            wait_until(lambda: heartbeat.health().failing, what="three failures")
            (condition,) = of_heartbeat(heartbeat.health())
            assert condition.reason is Reason.CHANNEL_FAILING
            assert condition.facts.detail == "heartbeat: answered 500"
            assert condition.facts.since_s is not None
            switch.mood = "ok"
            wait_until(lambda: not heartbeat.health().failing, what="well again")
            assert of_heartbeat(heartbeat.health()) == []
        finally:
            heartbeat.stop()
    assert of_heartbeat(HeartbeatHealth(failures=2)) == []
