"""A room tells its neighbours over a real mosquitto."""

from __future__ import annotations

import json
import signal
import subprocess
import time
from pathlib import Path

import jsonschema
import pytest

from monitor.neighbours.neighbours import NoNeighbours, build_neighbours
from monitor.neighbours.topics import Topics
from monitor.settings.load import load_settings
from monitor.settings.reference import message_schema_text
from tests.broker import Broker, running_broker
from tests.clocks import TurnedClock
from tests.neighbours.telling import ear, kept, telling, write_room
from tests.waiting import free_port, wait_until
from tests.watched import GONE, NOW_S

TOPICS = Topics()
SCHEMAS = {
    kind: json.loads(message_schema_text(kind)) for kind in ("standing", "claim", "alarm", "bag")
}
_NAMES = {"summary": "standing", "claim": "claim", "alarms": "alarm", "bags": "bag"}


def parts(messages: dict[str, object]) -> set[str]:
    """Which parts of rooms are there; each message keeps its schema."""
    found = set()
    for topic, message in messages.items():
        told = TOPICS.parse(topic)
        assert told is not None
        jsonschema.validate(message, SCHEMAS[_NAMES[told.part]])
        found.add(str(told.part))
    return found


@pytest.mark.parametrize(("version", "name"), [("5", "Halle 2/östlich"), ("3.1.1", "+#$")])
def test_all_of_a_room_is_kept_valid_and_emptied_when_it_ends(
    broker: Broker, tmp_path: Path, version: str, name: str
) -> None:
    folder = write_room(tmp_path / "a", name, broker.port, f', version: "{version}"')
    with telling(folder) as room:
        for _ in range(3):
            end_s = room.close(GONE)
        wait_until(lambda: room.told_all(end_s), 10.0, "all told")
        there = kept(broker)
        assert parts(there) == {"summary", "claim", "alarms", "bags"}
        summary = there[TOPICS.summary(name)]
        assert (summary["room"], summary["site"]) == (name, "Quarry Lane")
        assert summary["monitor"]["silent_sources"] == ["x"]
        assert [one["subject"] for one in summary["alarms"]] == ["source x"]
        room.pull("GO12-002")
        while room.alarms():
            end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 10.0, "all told")
        there = kept(broker)
        assert parts(there) == {"summary", "claim", "bags"}
        assert TOPICS.bag(name, "GO12-001") in there
        assert TOPICS.bag(name, "GO12-002") not in there
        assert there[TOPICS.summary(name)]["bags"]["total"] == 1
        assert room.neighbours.health().connected
    assert parts(kept(broker)) == {"summary", "bags"}, "a claim goes with who made it"


def test_a_broker_that_goes_and_comes_hears_the_newest_and_nothing_waits_for_it(
    broker: Broker, tmp_path: Path
) -> None:
    """It lost all it kept; what changed while it was away is told once."""
    with telling(write_room(tmp_path / "a", "North", broker.port)) as room:
        end_s = room.close(GONE)
        wait_until(lambda: room.told_all(end_s), 10.0, "all told")
        broker.stop()
        (tmp_path / "mosquitto" / "mosquitto.db").unlink()
        wait_until(lambda: not room.neighbours.health().connected, 5.0, "the loss is seen")
        began_s = time.monotonic()
        for _ in range(5):
            end_s = room.close(GONE)
        assert time.monotonic() - began_s < 1.0
        assert "127.0.0.1" in room.neighbours.health().detail
        broker.start()
        with ear(broker) as listener:
            wait_until(lambda: room.told_all(end_s), 15.0, "told again")
            topics = [topic for topic, _ in listener.heard]
        there = kept(broker)
        assert parts(there) == {"summary", "claim", "alarms", "bags"}
        assert there[TOPICS.summary("North")]["bags"]["total"] == 2
        assert topics.count(TOPICS.summary("North")) == 1
        assert room.neighbours.health().detail == ""


def test_a_store_that_starts_anew_keeps_its_claim_and_clears_what_is_over(
    broker: Broker, tmp_path: Path
) -> None:
    with telling(write_room(tmp_path / "a", "North", broker.port)) as room:
        for _ in range(3):
            end_s = room.close(GONE)
        wait_until(lambda: room.told_all(end_s), 10.0, "all told")
        before = next(one for topic, one in kept(broker).items() if "/claim/" in topic)
        room.neighbours.stop(3.0)
        room.pull("GO12-001")
        while room.alarms():  # it ends while nobody tells
            room.close()
        room.clock.pass_s(86_400.0)
        room.start()
        end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 10.0, "all told")
        there = kept(broker)
        claim = next(one for topic, one in there.items() if "/claim/" in topic)
        assert claim["run"] > before["run"]
        for key in ("since", "instance", "host", "room"):
            assert claim[key] == before[key]
        assert parts(there) == {"summary", "claim", "bags"}
        assert TOPICS.bag("North", "GO12-001") not in there


def test_a_thousand_bags_are_told_once_and_then_only_what_changed(
    broker: Broker, tmp_path: Path
) -> None:
    folder = write_room(tmp_path / "a", "North", broker.port)
    head = "bag,batch,strain,spawn_lot,inoculated,mass_kg,rack,shelf,slot,probe\n"
    row = "GO12-{0:04d},QL-1,GO-12,GO12-G2,2026-11-25T10:00:00Z,2.3,R1,2,1,p{0}\n"
    rows = "".join(row.format(number) for number in range(1000))
    (folder / "room" / "bags.csv").write_text(head + rows, encoding="utf-8")
    with telling(folder) as room, ear(broker) as listener:
        end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 20.0, "all told")
        wait_until(lambda: sum("/bags/" in topic for topic in listener.now()) == 1000, 5.0)
        listener.heard.clear()
        end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 10.0, "all told")
        time.sleep(0.2)
        assert {topic for topic, _ in listener.heard} == {TOPICS.summary("North")}


def test_without_the_block_of_the_settings_there_is_nobody_to_tell(tmp_path: Path) -> None:
    folder = write_room(tmp_path / "a", "North", free_port())
    text = (folder / "monitor.yaml").read_text(encoding="utf-8")
    (folder / "monitor.yaml").write_text(text.split("neighbours")[0], encoding="utf-8")
    nobody = build_neighbours(load_settings(folder, {}), TurnedClock(NOW_S), print)
    assert isinstance(nobody, NoNeighbours)
    assert not nobody.health().failing(NOW_S + 1e6)


def test_a_refused_login_is_told_at_once(tmp_path: Path) -> None:
    passwords = tmp_path / "passwords"
    passwords.write_text("", encoding="utf-8")
    where = f"allow_anonymous false\npassword_file {passwords}"
    with (
        running_broker(tmp_path, where) as broker,
        telling(write_room(tmp_path / "a", "North", broker.port)) as room,
    ):
        wait_until(lambda: room.neighbours.health().refused, 5.0, "refused")
        health = room.neighbours.health()
        assert "Not authorized" in health.detail
        assert health.failing(room.clock.wall_s())


@pytest.mark.parametrize(
    ("version", "rights", "said"),
    [
        ("5", "topic read bagwatt/rooms/#", "refuses our claim: Not authorized"),
        ("3.1.1", "topic read bagwatt/rooms/#", "does not give back our claim to North"),
        ("5", "topic write bagwatt/rooms/#", "does not give back our claim to North"),
        (
            "5",
            "topic read bagwatt/rooms/#\ntopic write bagwatt/rooms/North/claim/#",
            "refuses bagwatt/rooms/North/summary: Not authorized",
        ),
    ],
)
def test_a_broker_that_does_not_allow_it_is_told_so(
    tmp_path: Path, version: str, rights: str, said: str
) -> None:
    passwords, rules = tmp_path / "passwords", tmp_path / "acl"
    made = ["mosquitto_passwd", "-c", "-b", str(passwords), "room", "secret"]
    subprocess.run(made, check=True, capture_output=True)
    rules.write_text(f"user room\n{rights}\n", encoding="utf-8")
    where = f"allow_anonymous false\npassword_file {passwords}\nacl_file {rules}"
    (tmp_path / "password").write_text("secret", encoding="utf-8")
    (tmp_path / "password").chmod(0o600)
    more = f', version: "{version}", username: room, password: {{file: {tmp_path}/password}}'
    with (
        running_broker(tmp_path, where) as broker,
        telling(write_room(tmp_path / "a", "North", broker.port, more)) as room,
    ):
        room.close()
        wait_until(lambda: said in room.neighbours.health().detail, 15.0, said)
        health = room.neighbours.health()
        assert health.connected and health.refused and health.failing(NOW_S)
        assert "let this login read and write bagwatt/rooms/#" in health.detail


def test_a_broker_that_hangs_holds_up_neither_closes_nor_the_end(
    broker: Broker, tmp_path: Path
) -> None:
    with telling(write_room(tmp_path / "a", "North", broker.port)) as room:
        end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 5.0, "all told")
        assert broker.process is not None
        broker.process.send_signal(signal.SIGSTOP)
        try:
            began_s = time.monotonic()
            for _ in range(5):
                room.close()
            assert time.monotonic() - began_s < 1.0
            wait_until(lambda: room.neighbours.health().waiting == 1, 5.0, "the newest waits")
            began_s = time.monotonic()
            room.neighbours.stop(3.0)
            assert time.monotonic() - began_s < 2.0
        finally:
            broker.process.send_signal(signal.SIGCONT)


def test_a_close_that_can_not_be_told_is_said_and_the_next_one_is_told(
    broker: Broker, tmp_path: Path
) -> None:
    with telling(write_room(tmp_path / "a", "North", broker.port)) as room:
        end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 5.0, "all told")
        path = room.room.settings.store.path
        away = path.with_name("away.db")
        path.rename(away)  # as a medium that is pulled out
        room.close()
        wait_until(lambda: room.neighbours.health().detail, 5.0, "it is said")
        health = room.neighbours.health()
        assert health.connected and "bagwatt.db" in health.detail
        away.rename(path)
        end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 5.0, "all told")
        assert room.neighbours.health().detail == ""


def test_a_room_whose_card_is_full_goes_on_telling_from_the_spare(
    broker: Broker, tmp_path: Path
) -> None:
    with telling(write_room(tmp_path / "a", "North", broker.port)) as room:
        room.pull("GO12-002")
        while not room.alarms():
            end_s = room.close(GONE)
        wait_until(lambda: room.told_all(end_s), 5.0, "all told")
        assert kept(broker)[TOPICS.summary("North")]["monitor"]["problem"] == ""
        room.room.fill_card()
        while room.room.log.store.path == room.room.settings.store.path:
            end_s = room.close(GONE)
        wait_until(lambda: room.told_all(end_s), 5.0, "all told")
        there = kept(broker)
        summary = there[TOPICS.summary("North")]
        assert "full" in summary["monitor"]["problem"]
        assert summary["bags"]["total"] == 1
        assert parts(there) == {"summary", "claim", "alarms", "bags"}
