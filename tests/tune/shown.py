"""Alarms as a replay shows them and as a prediction promises them, to be held side by side."""

from __future__ import annotations

import csv
from pathlib import Path

from monitor.replay import stamp
from monitor.review.predict import Prediction

Shown = tuple[str, str, str, str, str]


def shown(out: Path) -> list[Shown]:
    """(time, kind, transition, urgency, bag) of every alarm event that a replay wrote."""
    with (out / "alarms.csv").open(encoding="utf-8", newline="") as file:
        return [
            (row["time"], row["kind"], row["transition"], row["urgency"], row["bag"])
            for row in csv.DictReader(file)
        ]


def promised(found: Prediction) -> list[Shown]:
    """The same of what was predicted."""
    return [
        (stamp(one.at_s), one.kind, one.transition, one.urgency, one.facts.bag)
        for one in found.events
    ]
