"""Names become topics and come back, whatever signs they have."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from monitor.neighbours.topics import Part, RoomTopic, Topics, decoded, encoded

TOPICS = Topics("farm/rooms")
NAMES = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=30)


@pytest.mark.parametrize(
    ("name", "level"),
    [
        ("Halle 2/östlich", "Halle 2%2Föstlich"),
        ("+", "%2B"),
        ("#", "%23"),
        ("$SYS", "%24SYS"),
        ("50 % full", "50 %25 full"),
        ("a\x00b\x85", "a%00b%C2%85"),
        ("North", "North"),
    ],
)
def test_a_name_as_one_level(name: str, level: str) -> None:
    assert encoded(name) == level
    assert decoded(level) == name


@given(NAMES, NAMES)
def test_every_name_comes_back_from_one_valid_level(room: str, name: str) -> None:
    topic = TOPICS.bag(room, name)
    assert TOPICS.parse(topic) == RoomTopic(room, Part.BAG, name)
    assert topic.count("/") == 4
    assert not set(topic) & set("+#$\x00")
    assert topic_matches_sub(TOPICS.named_of(room, Part.BAG), topic)


def test_each_part_comes_back_and_its_filter_fits() -> None:
    assert TOPICS.parse(TOPICS.summary("a/b")) == RoomTopic("a/b", Part.SUMMARY)
    assert TOPICS.parse(TOPICS.senml("a")) == RoomTopic("a", Part.SENML)
    assert TOPICS.parse(TOPICS.alarm("a", "x/1")) == RoomTopic("a", Part.ALARM, "x/1")
    claim = TOPICS.claim("a/b", "5f0c")
    assert TOPICS.parse(claim) == RoomTopic("a/b", Part.CLAIM, "5f0c")
    assert topic_matches_sub(TOPICS.every_claim(), claim)
    assert topic_matches_sub(TOPICS.named_of("a/b", Part.CLAIM), claim)
    assert not topic_matches_sub(TOPICS.named_of("a", Part.CLAIM), claim)
    assert topic_matches_sub(TOPICS.every_summary(), TOPICS.summary("+"))


@pytest.mark.parametrize(
    "topic",
    [
        "",
        "farm/rooms",
        "farm/rooms/a",
        "other/a/summary",
        "farm/rooms//summary",
        "farm/rooms/a/summary/x",
        "farm/rooms/a/claim",
        "farm/rooms/a/claim/",
        "farm/rooms/a/claim/x/y",
        "farm/rooms/a/weather",
        "farm/rooms/%zz/summary",
        "farm/rooms/%2f/summary",  # we write %2F: a second topic of the same room
        "farm/rooms/%41/summary",
        "farm/rooms/%FF/summary",
    ],
)
def test_what_is_none_of_ours_is_nobodys(topic: str) -> None:
    assert TOPICS.parse(topic) is None
