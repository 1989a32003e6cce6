"""The listener on a real mosquitto: what is kept, what comes, what goes while it is away."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from monitor.clock import SystemClock
from monitor.farm.gather import Message
from monitor.farm.listener import Heard, Listener
from monitor.farm.standing import Hearing
from monitor.room_messages import RoomClaim
from monitor.room_summary import to_json
from monitor.settings.schema_neighbours import NeighbourSettings
from tests.broker import Broker, running_broker
from tests.farm.samples import TOPICS, alarm, claim, summary
from tests.waiting import free_port, wait_until


@contextmanager
def listening(port: int, **more: object) -> Iterator[Listener]:
    settings = NeighbourSettings(host="127.0.0.1", port=port, **more)
    listener = Listener(settings, SystemClock())
    listener.start()
    try:
        yield listener
    finally:
        began_s = time.monotonic()
        listener.stop()
        assert time.monotonic() - began_s < 1.5


class Room:
    """A room's monitor as the broker sees it: a claim with a last will, summaries."""

    def __init__(self, broker: Broker, name: str) -> None:
        self.name = name
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        told = claim(name)
        topic = TOPICS.claim(name, told.instance)
        self._client.will_set(topic, b"", qos=1, retain=True)
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()
        self._client.publish(topic, to_json(RoomClaim, told), 1, True).wait_for_publish(5.0)

    def tell(self, at_s: float, urgency: str = "") -> None:
        alarms = [alarm()] if urgency else []
        payload = summary(self.name, at_s, alarms).to_json()
        self._client.publish(TOPICS.summary(self.name), payload, 1, True).wait_for_publish(5.0)

    def die(self) -> None:
        """Gone without a word: the broker sees the connection break."""
        sock = self._client.socket()
        self._client.loop_stop()
        if sock is not None:
            sock.close()


def states(heard: Heard) -> dict[str, Hearing]:
    return {one.room: one.hearing for one in heard.view.rooms}


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_what_the_broker_kept_and_what_comes_is_gathered(broker: Broker, version: str) -> None:
    """Names with spaces, umlauts, a slash; the last will of a room that dies."""
    now_s = time.time()
    north, south = Room(broker, "Halle 2/östlich"), Room(broker, "South")
    north.tell(now_s - 300.0)
    with listening(broker.port, version=version) as listener:
        heard = listener.wait_settled(5.0)
        assert heard.line.up and heard.line.settled and heard.line.problem == ""
        assert states(heard) == {"Halle 2/östlich": Hearing.HEARD, "South": Hearing.NO_WORD}
        assert heard.view.rooms[1].age_s == pytest.approx(300.0, abs=5.0)
        south.tell(now_s - 20.0, "today")
        wait_until(lambda: states(listener.heard())["South"] is Hearing.HEARD, 5.0)
        found = listener.heard().view.rooms[0]
        assert (found.room, found.open_today) == ("South", 1)
        assert found.age_s is not None and found.age_s < 5.0
        north.die()
        wait_until(lambda: states(listener.heard())["Halle 2/östlich"] is Hearing.GONE, 5.0)
        assert states(listener.heard())["South"] is Hearing.HEARD
    south.die()


def test_a_room_that_gave_up_while_we_were_cut_off_is_told_so(tmp_path: Path) -> None:
    """Its claim is not told again after the new subscription. The broker is killed: one that is
    stopped in order hands out everybody's last will first."""
    with running_broker(tmp_path) as broker:
        rooms = [Room(broker, name) for name in ("North", "South")]
        for room in rooms:
            room.tell(time.time() - 20.0)
        kept = [TOPICS.claim(room.name, claim(room.name).instance).encode() for room in rooms]
        disk = tmp_path / "mosquitto.db"
        wait_until(
            lambda: disk.exists() and all(one in disk.read_bytes() for one in kept), 10.0, "saved"
        )
        with listening(broker.port) as listener:
            assert set(states(listener.wait_settled(5.0)).values()) == {Hearing.HEARD}
            assert broker.process is not None
            broker.process.kill()
            broker.process.wait(5)
            wait_until(lambda: not listener.heard().line.up, 5.0, "the line is seen to be down")
            heard = listener.heard()
            assert heard.line.problem
            assert set(states(heard).values()) == {Hearing.HEARD}, "their words are fresh still"
            for room in rooms:
                room.die()
            broker.start()
            topic = TOPICS.claim("North", claim("North").instance)
            broker.publish((topic, b""), retain=True)
            wait_until(lambda: states(listener.heard())["North"] is Hearing.GONE, 10.0)
            assert states(listener.heard()) == {"North": Hearing.GONE, "South": Hearing.HEARD}


def test_messages_that_are_none_end_no_thread(broker: Broker) -> None:
    topic = TOPICS.summary("North")
    unknown = json.loads(summary().to_json()) | {"version": 7}
    with listening(broker.port) as listener:
        listener.wait_settled(5.0)
        broker.publish(
            (topic, b"\xff\x00"), (topic, "{}"), (topic, b"[" * 60_000),
            (topic, json.dumps(unknown)), (f"{TOPICS.prefix}/%2g/summary", "x"),
            (TOPICS.claim("South", "i"), "no claim"),
        )  # fmt: skip
        wait_until(lambda: len(listener.heard().view.rooms) == 2, 5.0)
        wait_until(lambda: len(listener.heard().view.refused) == 2, 5.0)
        found = next(one for one in listener.heard().view.rooms if one.room == "North")
        assert found.refused is not None and "version 7" in found.refused.detail
        Room(broker, "North").tell(time.time())
        wait_until(lambda: states(listener.heard())["North"] is Hearing.HEARD, 5.0)


def test_a_broker_that_is_away_or_refuses_says_so(tmp_path: Path) -> None:
    """And both end within a second of being told, whatever hangs."""
    with listening(free_port()) as listener:
        wait_until(lambda: "can't be reached" in listener.heard().line.problem, 5.0)
        assert not listener.heard().line.up
    passwords = tmp_path / "passwords"
    passwords.write_text("", encoding="utf-8")
    with (
        running_broker(tmp_path, f"allow_anonymous false\npassword_file {passwords}") as broker,
        listening(broker.port, version="3.1.1", username="farm") as listener,
    ):
        wait_until(lambda: "Not authorized" in listener.heard().line.problem, 5.0)
        time.sleep(0.2)
        assert "neighbours" in listener.heard().line.problem


def test_many_rooms_that_talk_all_the_time_do_not_keep_it_from_settling(broker: Broker) -> None:
    rooms = [Room(broker, f"R{number}") for number in range(3)]
    with listening(broker.port) as listener:
        until_s = time.monotonic() + 5.0
        while not listener.heard().line.settled:
            assert time.monotonic() < until_s
            for room in rooms:
                room.tell(time.time())
    for room in rooms:
        room.die()


def test_while_the_line_is_down_no_claim_lapses(tmp_path: Path) -> None:
    """Nobody could have told it again."""
    told = replace(claim(), keepalive_s=0.5)
    with running_broker(tmp_path) as broker, listening(broker.port) as listener:
        listener.wait_settled(5.0)
        broker.publish(
            (TOPICS.summary("North"), summary(at_s=time.time()).to_json()),
            (TOPICS.claim("North", told.instance), to_json(RoomClaim, told)),
        )
        wait_until(lambda: states(listener.heard()) == {"North": Hearing.HEARD}, 5.0)
        assert broker.process is not None
        broker.process.kill()
        broker.process.wait(5)
        wait_until(lambda: not listener.heard().line.up, 5.0)
        time.sleep(1.6)
        assert states(listener.heard()) == {"North": Hearing.HEARD}


def test_a_fault_of_ours_in_taking_a_message_does_not_end_the_listening(
    broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """paho's thread would end, and the line look as if it were up for ever."""
    with listening(broker.port) as listener:
        listener.wait_settled(5.0)
        take = listener._farm.take

        def faulty(message: Message) -> None:
            if message.payload == b"fault":
                raise ZeroDivisionError
            take(message)

        monkeypatch.setattr(listener._farm, "take", faulty)
        broker.publish((TOPICS.summary("North"), b"fault"))
        Room(broker, "South").tell(time.time())
        wait_until(lambda: states(listener.heard()) == {"South": Hearing.HEARD}, 5.0)
