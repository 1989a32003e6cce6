"""The loop: where frames are closed between items."""

from __future__ import annotations

from monitor.runner import Close, ended_frames_s, frame_end_s, with_closes
from monitor.values import BookEntry

FRAME_S = 600.0


def closes(*arrivals_s: float, grace_s: float = 0.0) -> list[float]:
    items = [BookEntry(at_s, "B1", "moved") for at_s in arrivals_s]
    return [item.end_s for item in with_closes(items, FRAME_S, grace_s) if isinstance(item, Close)]


def test_an_item_on_the_boundary_belongs_to_the_next_frame() -> None:
    """Frames are half-open and stamped at their end."""
    assert frame_end_s(600.0, FRAME_S) == 1200.0
    assert frame_end_s(599.9, FRAME_S) == 600.0


def test_frames_without_an_item_are_closed_too() -> None:
    """Silence must be seen."""
    assert closes(10.0, 1900.0) == [600.0, 1200.0, 1800.0, 2400.0]


def test_a_close_waits_for_its_grace() -> None:
    """An item that arrives within the grace still comes before the close."""
    items = [BookEntry(10.0, "B1", "a"), BookEntry(610.0, "B1", "b"), BookEntry(630.0, "B1", "c")]
    order = [
        item.end_s if isinstance(item, Close) else item.event
        for item in with_closes(items, FRAME_S, grace_s=20.0)
        if isinstance(item, Close | BookEntry)
    ]
    assert order == ["a", "b", 600.0, "c", 1200.0]


def test_a_gap_of_years_closes_a_day_of_frames_at_most() -> None:
    """A row with a wrong year must not stop the replay for hours."""
    found = closes(0.0, 50 * 365 * 86400.0)
    assert len(found) == 144 + 1
    assert found[-1] == 50 * 365 * 86400.0 + FRAME_S


def test_no_items_close_nothing() -> None:
    """An empty stream has no frames."""
    assert closes() == []


def test_frames_ended_counts_from_the_given_end() -> None:
    """Live asks this once a turn."""
    assert ended_frames_s(600.0, 599.0, FRAME_S) == []
    assert ended_frames_s(600.0, 600.0, FRAME_S) == [600.0]
    assert ended_frames_s(600.0, 1250.0, FRAME_S) == [600.0, 1200.0]
