"""Deliveries of the MQTT source from a real mosquitto: nothing lost, nothing taken twice."""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys

import pytest

from monitor.settings.schema_payload import PayloadSettings
from monitor.settings.schema_sources import TopicSettings
from monitor.sources.source import Packet
from monitor.values import Flag, Refusal
from tests.broker import Broker
from tests.sources.mqtt_parts import TOPICS, fresh_queue, running, settings, up
from tests.sources.parts import reasons, take
from tests.waiting import wait_until

VERSIONS = pytest.mark.parametrize("version", ["5", "3.1.1"])


@VERSIONS
def test_a_message_becomes_a_reading(broker: Broker, version: str) -> None:
    sink = fresh_queue()
    with running(settings(broker.port, version=version), sink) as source:
        up(source)
        broker.publish(("barn/a/p1/temp", "21.5"), ("barn/a/p2/temp", "unavailable"))
        good, bad = take(sink, 2)
        (reading,) = source.decode(good).readings
        assert (reading.source, reading.probe, reading.value) == ("barn", "p1", 21.5)
        assert (reading.measured_s, reading.marks) == (good.received_s, ())
        assert reasons(source.decode(bad)) == [Refusal.NOT_A_NUMBER]
        health = source.health(good.monotonic_s)
        assert (health.connected, health.problem, health.detail) == (True, None, "")
        assert health.counts["packets"] == 2


#: A daemon's beginning: takes messages, tells that it has them, and is killed before any ack.
DOOMED = """
import queue, sys
from monitor.clock import SystemClock
from monitor.settings.schema_sources import MqttSettings
from monitor.sources import build_source, mqtt_client
source = build_source(MqttSettings.model_validate_json(sys.argv[1]), SystemClock())
sink = queue.Queue(100)
source.start(sink)
while True:
    packet = sink.get()
    print(packet.dedup, packet.session, packet.payload.decode(), flush=True)
"""


@VERSIONS
def test_a_message_comes_again_with_the_same_key_when_killed_before_the_commit(
    broker: Broker, version: str
) -> None:
    configured = settings(broker.port, version=version)
    command = [sys.executable, "-c", DOOMED, configured.model_dump_json()]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as doomed:
        assert doomed.stdout is not None
        wait_until(lambda: "bagwatt/bagwatt-test/pulse" in broker.log(), what="subscribed")
        broker.publish(*[("barn/a/p1/temp", "21.5")] * 3)
        before = [doomed.stdout.readline().split() for _ in range(3)]
        os.kill(doomed.pid, signal.SIGKILL)
    sink = fresh_queue()
    with running(configured, sink, session=before[0][1]) as source:
        after = take(sink, 3)
        assert [packet.dedup for packet in after] == [key for key, _, _ in before]
        assert len({packet.dedup for packet in after}) == 3  # equal readings, three keys
        assert {packet.session for packet in after} == {before[0][1]}
        for packet in after:
            source.acknowledge(packet)
        puback = "Received PUBACK from bagwatt-test"
        wait_until(lambda: broker.log().count(puback) >= 5, what="acknowledged, pulses too")
    with running(configured, sink) as source:
        up(source)
        assert sink.empty()


@VERSIONS
def test_messages_of_a_downtime_are_kept_and_marked(broker: Broker, version: str) -> None:
    configured = settings(broker.port, version=version)
    sink = fresh_queue()
    with running(configured, sink) as source:
        up(source)
    broker.publish(*[("barn/a/p1/temp", str(number)) for number in range(60)])
    broker.stop()
    broker.start()  # the session outlives the broker too
    with running(configured, sink) as source:
        for number in range(60):
            (packet,) = take(sink, 1)
            (reading,) = source.decode(packet).readings
            assert reading.value == number
            assert (reading.measured_s, reading.marks) == (None, (Flag.TIME_UNKNOWN,))
            source.acknowledge(packet)
        up(source)
        broker.publish(("barn/a/p1/temp", "99"))
        (live,) = take(sink, 1)
        assert source.decode(live).readings[0].marks == ()
        assert source.health(0.0).counts["backlog"] == 60


def test_a_slow_commit_is_no_lull(broker: Broker) -> None:
    """With 3.1.1 the broker stops after 20 unacknowledged; what follows is backlog all the same."""
    configured = settings(broker.port, version="3.1.1")
    sink = fresh_queue()
    with running(configured, sink) as source:
        up(source)
    broker.publish(*[("barn/a/p1/temp", "21")] * 50)
    with running(configured, sink) as source:
        first = take(sink, 20)
        with pytest.raises(queue.Empty):
            sink.get(timeout=2.2)
        for packet in first:
            source.acknowledge(packet)
        assert {packet.marks for packet in take(sink, 1)} == {(Flag.TIME_UNKNOWN,)}


@VERSIONS
def test_a_retained_value_is_marked(broker: Broker, version: str) -> None:
    broker.publish(("barn/a/p1/temp", "35"), retain=True)
    sink = fresh_queue()
    with running(settings(broker.port, version=version), sink) as source:
        (packet,) = take(sink, 1)
        (reading,) = source.decode(packet).readings
        assert (reading.measured_s, reading.marks) == (None, (Flag.RETAINED,))


def test_a_retained_value_does_not_come_again_with_mqtt_5(broker: Broker) -> None:
    broker.publish(("barn/a/p1/temp", "35"), retain=True)
    sink = fresh_queue()
    for expected in (1, 0):
        with running(settings(broker.port), sink) as source:
            up(source)
            packets = take(sink, expected)
            assert sink.empty()
            for packet in packets:
                source.acknowledge(packet)


def test_an_acknowledgement_of_an_older_connection_is_dropped(broker: Broker) -> None:
    """Lose the session, receive new messages under the old ids, acknowledge the old ones."""
    sink = fresh_queue()
    with running(settings(broker.port), sink) as source:
        up(source)
        broker.publish(*[("barn/a/p1/temp", "1")] * 3)
        old = take(sink, 3)
        broker.stop()
        (broker._config.parent / "mosquitto.db").unlink()
        broker.start()
        wait_until(lambda: source.health(0.0).counts["connections"] == 2, what="reconnected")
        up(source)
        broker.publish(*[("barn/a/p1/temp", "2")] * 3)
        new = take(sink, 3)
        assert {packet.dedup for packet in old}.isdisjoint(packet.dedup for packet in new)
        for packet in old:
            source.acknowledge(packet)
        assert source.health(0.0).counts["stale acknowledgements"] == 3
    again = fresh_queue()
    with running(settings(broker.port), again, session=new[0].session):
        assert [packet.dedup for packet in take(again, 3)] == [packet.dedup for packet in new]


def test_what_does_not_fit_the_queue_comes_again_in_order(broker: Broker) -> None:
    sink: queue.Queue[Packet] = queue.Queue(10)
    with running(settings(broker.port), sink) as source:
        up(source)
        broker.publish(*[("barn/a/p1/temp", str(number)) for number in range(40)])
        wait_until(lambda: source.health(0.0).counts.get("overflowed"), what="overflow")
        seen: dict[str, float] = {}
        while len(seen) < 40:
            (packet,) = take(sink, 1)
            seen.setdefault(packet.dedup, source.decode(packet).readings[0].value)
            source.acknowledge(packet)
        assert list(seen.values()) == list(range(40))
        assert source.health(0.0).counts["recycled for overflow"] >= 1


class FaultyQueue(queue.Queue[Packet]):
    """A queue that fails once, as code in a callback may."""

    failed = False

    def put_nowait(self, item: Packet) -> None:
        if item.payload == b"2" and not self.failed:
            self.failed = True
            raise RuntimeError("a fault in the callback")
        super().put_nowait(item)


def test_a_fault_in_the_callback_costs_no_message(broker: Broker) -> None:
    sink = FaultyQueue(100)
    with running(settings(broker.port), sink) as source:
        up(source)
        broker.publish(*[("barn/a/p1/temp", str(number)) for number in range(5)])
        seen: dict[str, bytes] = {}
        while len(seen) < 5:
            (packet,) = take(sink, 1)
            seen.setdefault(packet.dedup, packet.payload)
            source.acknowledge(packet)
        assert list(seen.values()) == [b"0", b"1", b"2", b"3", b"4"]
        assert source.health(0.0).counts["callback faults (RuntimeError)"] == 1


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_dead_network_thread_is_revived(broker: Broker) -> None:
    """paho's thread ends for good at an exception; nobody but the keeper would notice."""
    sink = fresh_queue()
    with running(settings(broker.port), sink) as source:
        up(source)
        client = source._client
        assert client is not None
        sound = client.on_message

        def raise_once(*_: object) -> None:
            client.on_message = sound
            raise RuntimeError("a fault inside paho")

        client.on_message = raise_once
        broker.publish(("barn/a/p1/temp", "21"))
        assert take(sink, 1)[0].payload == b"21"
        assert source.health(0.0).counts["network thread died"] == 1


def test_odd_messages_stop_nothing(broker: Broker) -> None:
    configured = settings(
        broker.port,
        topics=(*TOPICS, TopicSettings(topic="odd/#", payload=PayloadSettings(shape="senml"))),
    )
    sink = fresh_queue()
    with running(configured, sink) as source:
        up(source)
        broker.publish(
            ("barn/a/p1/temp", b"\xff\x00"),
            ("barn/a/p1/temp", b"9" * 100_000),
            ("odd/1", "[" * 5000),
            ("odd/2", ""),
            ("barn/a/p1/temp", "21"),
        )
        packets = take(sink, 5)
        found = [reasons(source.decode(packet)) for packet in packets]
        assert found == [
            [Refusal.NOT_TEXT],
            [Refusal.TOO_LONG],
            [Refusal.TOO_LONG],
            [Refusal.EMPTY],
            [],
        ]
        assert max(len(packet.payload) for packet in packets) <= 4097


def test_a_message_of_an_older_subscription_is_told_as_unmapped(broker: Broker) -> None:
    sink = fresh_queue()
    with running(settings(broker.port), sink) as source:
        up(source)
    other = settings(broker.port, topics=(TopicSettings(topic="shed/{probe}/temp"),))
    with running(other, sink) as source:
        up(source)
        broker.publish(("barn/a/p1/temp", "21"), ("shed/p2/temp", "22"))
        old, new = take(sink, 2)
        assert reasons(source.decode(old)) == [Refusal.UNMAPPED_TOPIC]
        assert source.decode(new).readings[0].probe == "p2"


def test_qos_0_senders_are_read_without_a_key(broker: Broker) -> None:
    sink = fresh_queue()
    with running(settings(broker.port), sink) as source:
        up(source)
        broker.publish(("barn/a/p1/temp", "21"), qos=0)
        (packet,) = take(sink, 1)
        assert (packet.dedup, packet.token) == ("", None)
        source.acknowledge(packet)
