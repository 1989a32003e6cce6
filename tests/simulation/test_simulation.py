"""A few hundred hours in simulated rooms full of faults; a longer swarm is one command.

`python -m tests.simulation --seeds 0-3000` plays more; a failing seed is printed and plays again.
"""

from __future__ import annotations

import os
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.simulation import wires
from tests.simulation.room import Room, play
from tests.simulation.wires import BrokerClient, Message

SEEDS = 260
BATCH = 20


def played(seed: int) -> Room:
    with TemporaryDirectory(dir=ram()) as name:
        return play(seed, Path(name))


def ram() -> str | None:
    """A folder in memory where there is one: what a card does to files is tested elsewhere."""
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


@pytest.mark.parametrize("first", range(0, SEEDS, BATCH))
def test_nothing_is_lost_or_doubled_whatever_fails(first: int) -> None:
    faults, ends, looks = 0, 0, 0
    for seed in range(first, first + BATCH):
        room = played(seed)
        faults, ends, looks = (
            faults + room.world.faults,
            ends + room.ends,
            looks + room.checks.looks,
        )
    assert faults > 5 * BATCH  # the rooms were not calm
    assert ends >= BATCH // 4
    assert looks > BATCH


def test_a_seed_tells_the_same_story_twice() -> None:
    """Else a failure could not be looked into. Only the folder's name may differ."""
    one, two = ([line for line in played(3).world.story if ".db" not in line] for _ in range(2))
    assert one == two


def test_the_checks_catch_what_is_stored_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    """A source that does not know a message again."""
    monkeypatch.setattr(wires, "delivery_key", lambda *_: "")
    with pytest.raises(AssertionError, match="stored twice"):
        for seed in range(20):
            played(seed)


def test_the_checks_catch_what_is_acknowledged_too_early(monkeypatch: pytest.MonkeyPatch) -> None:
    """A source that acknowledges on arrival loses what a kill takes out of the queue."""
    take = BrokerClient.take

    def too_early(self: BrokerClient, message: Message) -> None:
        take(self, message)
        self._broker.acknowledge(message.mid)

    monkeypatch.setattr(BrokerClient, "take", too_early)
    with pytest.raises(AssertionError, match=r"acknowledged and not stored|lost from the broker"):
        for seed in range(40):
            played(seed)
