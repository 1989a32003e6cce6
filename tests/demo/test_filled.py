"""What is told in the demo's room, with the strains that are shipped."""

from __future__ import annotations

from pathlib import Path

from demo.pictures import stage
from demo.rooms import DAY_S, START_S
from demo.show import FALLEN_BAG, draw_room
from monitor.store import open_reader
from monitor.terms import AlarmKind

OF_BAGS = (AlarmKind.HOT_BAG, AlarmKind.STALLED_BAG)


def test_of_the_demos_bags_only_the_one_with_added_heat_is_told(tmp_path: Path) -> None:
    """Until its heater sticks. A strain's `rise` that is far too slow had two sound ones told."""
    settings = stage(tmp_path, START_S + 3.7 * DAY_S)
    with open_reader(settings.store.path) as store:
        events = store.events()
    told = {(event.kind, event.subject) for event in events if event.kind in OF_BAGS}
    (hot,) = draw_room().hot
    assert told == {(AlarmKind.HOT_BAG, f"B{hot:03d}")}
    fallen = [event.subject for event in events if event.kind is AlarmKind.PROBE]
    assert set(fallen) == {f"p{FALLEN_BAG:03d}"}
