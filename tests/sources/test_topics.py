"""Topic patterns after MQTT 5.0, section 4.7, with captures."""

from __future__ import annotations

import pytest

from monitor.sources.topics import TopicPattern


@pytest.mark.parametrize(
    ("pattern", "filter_", "topic", "captured"),
    [
        ("barn/+/{probe}/temp", "barn/+/+/temp", "barn/a/p1/temp", {"probe": "p1"}),
        ("barn/{probe}/{quantity}", "barn/+/+", "barn/p1/rh", {"probe": "p1", "quantity": "rh"}),
        ("barn/{probe}", "barn/+", "barn/p.1", {"probe": "p.1"}),
        ("barn/#", "barn/#", "barn/a/b", {}),
        ("barn/#", "barn/#", "barn", {}),
        ("barn/+", "barn/+", "barn/", {}),
        ("#", "#", "any/thing", {}),
        ("b.rn/x", "b.rn/x", "b.rn/x", {}),
    ],
)
def test_a_pattern_subscribes_and_captures(
    pattern: str, filter_: str, topic: str, captured: dict[str, str]
) -> None:
    compiled = TopicPattern.compile(pattern)
    assert compiled.filter == filter_
    assert compiled.match(topic) == captured


@pytest.mark.parametrize(
    ("pattern", "topic"),
    [
        ("barn/+/{probe}/temp", "barn/a/p1/temp/x"),
        ("barn/+/{probe}/temp", "barn/a/temp"),
        ("barn/{probe}", "barn/"),
        ("barn/+", "barn/a/b"),
        ("barn/#", "barnyard"),
        ("b.rn/x", "barn/x"),
        ("#", "$SYS/uptime"),
        ("+/x", "$SYS/x"),
        ("{probe}/x", "$SYS/x"),
        ("barn/x", "barn/x\n"),
    ],
)
def test_a_pattern_leaves_other_topics_alone(pattern: str, topic: str) -> None:
    assert TopicPattern.compile(pattern).match(topic) is None
