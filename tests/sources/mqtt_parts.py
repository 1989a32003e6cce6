"""An MQTT source to test, set up in a line."""

from __future__ import annotations

import queue
from collections.abc import Iterator
from contextlib import contextmanager

from monitor.clock import SystemClock
from monitor.settings.schema_sources import MqttSettings, TopicSettings
from monitor.sources import build_source
from monitor.sources.mqtt import MqttSource
from monitor.sources.source import Packet
from tests.waiting import wait_until

TOPICS = (TopicSettings(topic="barn/+/{probe}/temp"),)


def settings(port: int, **more: object) -> MqttSettings:
    defaults = {"name": "barn", "host": "127.0.0.1", "client_id": "bagwatt-test", "topics": TOPICS}
    return MqttSettings(port=port, **{**defaults, **more})


@contextmanager
def running(
    configured: MqttSettings, sink: queue.Queue[Packet], session: str = ""
) -> Iterator[MqttSource]:
    source = build_source(configured, SystemClock(), session)
    assert isinstance(source, MqttSource)
    source.start(sink)
    try:
        yield source
    finally:
        source.stop()


def up(source: MqttSource) -> None:
    """Connected, subscribed, and the own pulse is back."""
    wait_until(lambda: source.health(0.0).connected, what="connected")
    wait_until(lambda: source._backlog and source._backlog.pulse_back, what="pulse back")


def fresh_queue() -> queue.Queue[Packet]:
    return queue.Queue(1000)
