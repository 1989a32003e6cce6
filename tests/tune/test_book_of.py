"""What the store says of a room's bags, for tuning."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from monitor.review.tune_rooms import book_of
from monitor.store import Store, open_reader
from monitor.values import AlarmEvent, Transition, Urgency
from tests.store.samples import event


def of(bag: str, one: AlarmEvent) -> AlarmEvent:
    return replace(one, subject=bag, facts=replace(one.facts, bag=bag))


def test_a_bag_told_by_its_lots_alarm_was_called_all_the_same(tmp_path: Path) -> None:
    """Nobody was sent a message for it, yet it was raised; what was held back was not."""
    with Store.open(tmp_path / "store.db", 0.0) as store:
        store.add_events(
            [
                of("B-01", event(1)),
                of("B-02", replace(event(2, alarm_id="a2"), announced=False)),
                of(
                    "B-03",
                    replace(event(3, Transition.SUPPRESSED, alarm_id="a3"), announced=False),
                ),
                of("B-04", event(4, alarm_id="a4", urgency=Urgency.LATER)),
            ]
        )
    with open_reader(tmp_path / "store.db") as reader:
        assert book_of(reader).alarmed_s == {"B-01": 1001.0, "B-02": 1002.0}
