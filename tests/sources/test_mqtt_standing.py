"""The retained standing message and the last will, read by another client of a real mosquitto."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from datetime import UTC, datetime
from typing import Any

import pytest

from monitor import __version__
from monitor.settings.schema_sources import TopicSettings
from tests.broker import Broker
from tests.sources.mqtt_parts import fresh_queue, running, settings, up
from tests.sources.parts import take
from tests.waiting import wait_until

TOPIC = "bagwatt/bagwatt-test/standing"

#: A source in a process of its own, to be killed.
WATCHER = """
import queue, sys, time
from tests.sources.mqtt_parts import running, settings
with running(settings(int(sys.argv[1]), version=sys.argv[2]), queue.Queue(10)):
    time.sleep(60)
"""


def standing(broker: Broker) -> dict[str, Any]:
    """What a newcomer is told first."""
    command = ["mosquitto_sub", "-p", str(broker.port), "-t", TOPIC, "-C", "1", "-W", "3"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return dict(json.loads(done.stdout)) if done.stdout else {}


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_it_stands_while_we_watch_and_says_stopped_at_an_orderly_end(
    broker: Broker, version: str
) -> None:
    with running(settings(broker.port, version=version), fresh_queue()) as source:
        up(source)
        wait_until(lambda: standing(broker).get("state") == "watching", what="watching")
        told = standing(broker)
        assert told["version"] == __version__
        age = datetime.now(UTC) - datetime.fromisoformat(told["since"])
        assert 0 <= age.total_seconds() < 60
    assert standing(broker)["state"] == "stopped"


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_the_broker_says_gone_when_we_are_killed(broker: Broker, version: str) -> None:
    process = subprocess.Popen([sys.executable, "-c", WATCHER, str(broker.port), version])
    try:
        wait_until(lambda: standing(broker).get("state") == "watching", 20, "watching")
    finally:
        process.kill()
        process.wait(10)
    wait_until(lambda: standing(broker).get("state") == "gone", what="the last will")


def test_our_own_standing_is_no_reading_when_we_subscribe_to_everything(broker: Broker) -> None:
    sink = fresh_queue()
    everything = settings(broker.port, topics=(TopicSettings(topic="{probe}/#"),))
    with running(everything, sink) as source:
        up(source)
        broker.publish(("barn/a/p1/temp", "21"))
        assert take(sink, 1)[0].topic == "barn/a/p1/temp"
        time.sleep(0.1)
        assert sink.empty()
        assert source.health(0.0).counts["packets"] == 1
