"""A room tells its neighbours over a real mosquitto."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import pytest

from monitor.neighbours.topics import Topics
from monitor.settings.reference import message_schema_text
from tests.broker import Broker, running_broker
from tests.neighbours.telling import kept, telling, write_room
from tests.waiting import wait_until
from tests.watched import GONE

TOPICS = Topics()
SCHEMAS = {
    kind: json.loads(message_schema_text(kind)) for kind in ("standing", "claim", "alarm", "bag")
}


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    where = tmp_path / "mosquitto"
    where.mkdir()
    with running_broker(where) as broker:
        yield broker


def valid(messages: dict[str, object]) -> set[str]:
    """Which parts are there; each message keeps its schema."""
    parts = {"summary": "standing", "claim": "claim", "alarms": "alarm", "bags": "bag"}
    found = set()
    for topic, message in messages.items():
        told = TOPICS.parse(topic)
        assert told is not None
        jsonschema.validate(message, SCHEMAS[parts[told.part]])
        found.add(str(told.part))
    return found


def test_summary_bags_and_alarms_are_kept_valid_and_emptied_when_they_end(
    broker: Broker, tmp_path: Path
) -> None:
    with telling(write_room(tmp_path / "a", "North", broker.port)) as room:
        for _ in range(3):
            end_s = room.close(GONE)
        wait_until(lambda: room.told_all(end_s), 10.0, "all told")
        there = kept(broker)
        assert valid(there) == {"summary", "claim", "alarms", "bags"}
        summary = there[TOPICS.summary("North")]
        assert summary["monitor"]["silent_sources"] == ["x"]
        assert [one["subject"] for one in summary["alarms"]] == ["source x"]
        room.pull("GO12-002")
        while room.alarms():
            end_s = room.close()
        wait_until(lambda: room.told_all(end_s), 10.0, "all told")
        there = kept(broker)
        assert valid(there) == {"summary", "claim", "bags"}
        assert TOPICS.bag("North", "GO12-001") in there
        assert TOPICS.bag("North", "GO12-002") not in there
        assert there[TOPICS.summary("North")]["bags"]["total"] == 1
    assert valid(kept(broker)) == {"summary", "bags"}, "a claim goes with who made it"
