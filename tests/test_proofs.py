"""Proofs of the one road: the same readings give the same events, however they are driven."""

from __future__ import annotations

import json
import random
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from monitor.assemble import build_road, plan_of
from monitor.replay import merged
from monitor.road import Plan, Road
from monitor.runner import Close, Item, Step, take, with_closes
from monitor.sources.folder import read_folder
from monitor.values import AlarmKind, Reading, Transition

FRAME_S = 600.0


@pytest.fixture(scope="module")
def plan(small_room: Path) -> Plan:
    folder = read_folder(small_room)
    return plan_of(folder.bags, folder.probes)


@pytest.fixture(scope="module")
def items(small_room: Path) -> list[Item]:
    return list(with_closes(merged(read_folder(small_room)), FRAME_S))


def outcomes(road: Road, items: Iterable[Item]) -> list[Any]:
    """Events and verdicts of every step that had any."""
    steps: list[Step] = [take(road, item) for item in items]
    return [(step.events, step.outcome.verdicts if step.outcome else None) for step in steps]


@pytest.fixture(scope="module")
def whole(plan: Plan, items: list[Item]) -> list[Any]:
    return outcomes(build_road(None, plan), items)


def test_the_small_room_has_alarms_worth_proving_with(small_room: Path, whole: list[Any]) -> None:
    """The hot bag is called and the fallen probe is named; how often the judge errs is for
    the bench, on many rooms."""
    truth = json.loads((small_room / "truth.json").read_text(encoding="utf-8"))
    hot = {bag for bag, said in truth.items() if said and said["kind"] == "contaminated"}
    raised = [
        event for events, _ in whole for event in events if event.transition is Transition.RAISED
    ]
    called = {event.facts.bag for event in raised if event.kind is AlarmKind.HOT_BAG}
    assert hot <= called
    assert any(event.kind is AlarmKind.PROBE for event in raised)


@pytest.mark.parametrize("share", [0.07, 0.31, 0.55, 0.83])
def test_a_road_saved_as_text_and_restored_goes_on_the_same(
    plan: Plan, items: list[Item], whole: list[Any], share: float
) -> None:
    """Stop anywhere, go on from the saved state: events and verdicts are the same."""
    cut = int(len(items) * share)
    first = build_road(None, plan)
    before = outcomes(first, items[:cut])
    saved = json.dumps(first.state(), allow_nan=False)
    second = build_road(None, plan)
    second.restore(json.loads(saved))
    assert before + outcomes(second, items[cut:]) == whole


def shuffled(items: list[Item], seed: int) -> list[Item]:
    """The readings of each frame in another order."""
    draw = random.Random(seed)
    mixed: list[Item] = []
    held: list[Item] = []
    for item in items:
        if isinstance(item, Reading):
            held.append(item)
            continue
        draw.shuffle(held)
        mixed += [*held, item]
        held = []
    return mixed + held


def test_shuffling_readings_inside_a_frame_changes_nothing(
    plan: Plan, items: list[Item], whole: list[Any]
) -> None:
    """What matters is what a frame holds, not the order in which it came."""
    mixed = outcomes(build_road(None, plan), shuffled(items, 7))
    closes = [pair for pair, item in zip(whole, items, strict=True) if isinstance(item, Close)]
    assert [pair for pair in mixed if pair[1] is not None] == closes


def test_shuffling_bags_in_the_plan_changes_nothing(
    plan: Plan, items: list[Item], whole: list[Any]
) -> None:
    """No verdict may hang on the order in which the book lists its bags."""
    backwards = Plan(dict(reversed(plan.bags.items())), dict(reversed(plan.probes.items())))
    assert outcomes(build_road(None, backwards), items) == whole
