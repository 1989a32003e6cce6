"""Two monitors told to watch rooms of one name: one is heard, the other says so and waits."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.house import of_neighbours
from monitor.neighbours.topics import Part, Topics
from monitor.terms import Reason
from tests.broker import Broker
from tests.neighbours.telling import Ear, TellingRoom, ear, kept, telling, watch, write_room
from tests.waiting import wait_until

TOPICS = Topics()
#: Before the rooms of these tests began.
BEFORE = "2026-11-25T12:00:00Z"


def summary_by(heard: Ear, name: str) -> str:
    """The instance that told the summary which stands."""
    return str(heard.now().get(TOPICS.summary(name), {}).get("instance", ""))


def told_by(heard: Ear, instance: str) -> set[Part]:
    """What a monitor ever told."""
    found = set()
    for topic, payload in list(heard.heard):
        told = TOPICS.parse(topic)
        if told is not None and payload and json.loads(payload)["instance"] == instance:
            found.add(told.part)
    return found


def test_one_publishes_the_other_says_so_and_takes_over_when_the_first_is_killed(
    broker: Broker, tmp_path: Path
) -> None:
    first = write_room(tmp_path / "a", "North", broker.port)
    with ear(broker) as heard, watch(first, BEFORE) as process:
        wait_until(lambda: summary_by(heard, "North"), 20.0, "the first is heard")
        first_id = summary_by(heard, "North")
        with telling(write_room(tmp_path / "b", "North", broker.port)) as second:
            second.close()
            wait_until(lambda: second.said, 10.0, "it says that the name is taken")
            assert second.said[0].startswith("another monitor watches a room of this name: North")
            assert "on host" in second.said[0] and "another name" in second.said[0]
            end_s = second.close()
            at_s = heard.now()[TOPICS.summary("North")]["at"]
            wait_until(lambda: heard.now()[TOPICS.summary("North")]["at"] > at_s, 5.0, "it goes on")
            second_id = claimed_by(heard) - {first_id}
            assert len(second_id) == 1
            assert told_by(heard, *second_id) == {Part.CLAIM}, "and no more than that"
            assert [one["instance"] for one in claims(kept(broker))] == [first_id]
            health = second.neighbours.health()
            found = of_neighbours(health, second.clock.wall_s())
            assert [one.reason for one in found] == [Reason.NAME_TAKEN]
            assert health.holder in found[0].facts.detail
            process.kill()
            wait_until(lambda: {summary_by(heard, "North")} == second_id, 10.0, "it takes over")
            wait_until(lambda: second.told_all(end_s), 5.0, "all told")
            assert second.said[1:] == ["the name North on the broker is ours now"]
            assert of_neighbours(second.neighbours.health(), second.clock.wall_s()) == []


def claims(there: dict[str, dict[str, str]]) -> list[dict[str, str]]:
    return [one for topic, one in there.items() if "/claim/" in topic]


def claimed_by(heard: Ear) -> set[str]:
    """Everybody who ever claimed the name."""
    found = {TOPICS.parse(topic) for topic, _ in list(heard.heard)}
    return {one.name for one in found if one is not None and one.part is Part.CLAIM}


@contextmanager
def two(broker: Broker, tmp_path: Path, copied: bool) -> Iterator[tuple[TellingRoom, TellingRoom]]:
    """An older room and a younger of the same name, perhaps on a copy of its store."""
    with telling(write_room(tmp_path / "a", "North", broker.port)) as old:
        wait_until(lambda: old.neighbours.health().connected, 5.0)
        wait_until(lambda: claims(kept(broker)), 5.0)
        young_folder = write_room(tmp_path / "b", "North", broker.port)
        if copied:
            old.room.log.store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            shutil.copy(tmp_path / "a" / "bagwatt.db", young_folder / "bagwatt.db")
        young = TellingRoom(young_folder, later_s=60.0)
        try:
            yield old, young
        finally:
            young.end()


@pytest.mark.parametrize("copied", [False, True])
def test_the_older_keeps_the_name_and_the_younger_takes_it_when_told_to_stop(
    broker: Broker, tmp_path: Path, copied: bool
) -> None:
    with two(broker, tmp_path, copied) as (old, young):
        wait_until(lambda: young.said, 5.0, "the younger stands aside")
        end_s = old.close()
        young_end_s = young.close()
        wait_until(lambda: old.told_all(end_s), 5.0, "the older tells")
        assert not old.said
        time.sleep(1.2)  # whatever they do to each other's claims, it comes to rest
        assert old.told_all(end_s) and young.neighbours.health().holder
        kept_claims = claims(kept(broker))
        assert len(kept_claims) == 1
        old.neighbours.stop(3.0)
        wait_until(lambda: young.told_all(young_end_s), 5.0, "the younger tells")
        [claim] = claims(kept(broker))
        assert claim["run"] > kept_claims[0]["run"]
        assert (claim["instance"] == kept_claims[0]["instance"]) == copied
        assert len(young.said) == 2
