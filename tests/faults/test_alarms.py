"""kill -9 anywhere: no alarm lost, none doubled, no message under a second id."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.faults.alarms import compare

pytestmark = pytest.mark.on_disk


def test_killed_and_resumed_gives_the_same_events_and_messages(
    small_room: Path, tmp_path: Path
) -> None:
    """Some kills in the first day; more with `python -m tests.faults.alarms --kills 40`."""
    kills, calm, killed = compare(small_room, tmp_path, kills=6, seed=5, closes=140)
    assert kills >= 4
    assert len(calm.messages) >= 6
    assert any("acknowledged" in event_id for event_id, _, _ in calm.events)
    assert killed.events == calm.events
    assert killed == calm
