"""What tuning predicts is what the road said: live code on kept evidence, alone and by hundreds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from monitor.assemble import build_road, plan_of
from monitor.judge.odds import needed_log_odds
from monitor.judge.strain import Strain
from monitor.replay import merged
from monitor.review.account import Account, shifted, walk
from monitor.review.account_text import from_line, to_line
from monitor.review.predict import predict, told
from monitor.review.scan import Thresholds, first_calls, stretches
from monitor.road import Road, RoadParams
from monitor.runner import take, with_closes
from monitor.sources.folder import read_folder
from monitor.values import AlarmEvent


def events_of_the_road(folder_path: Path, strain: Strain | None) -> list[AlarmEvent]:
    """What the whole road, model and all, says of a folder."""
    folder = read_folder(folder_path)
    plan = plan_of(folder.bags, folder.probes)
    road = build_road(None, plan)
    if strain is not None:
        road = Road(RoadParams(), plan, lambda name: replace(strain, name=name))
    items = with_closes(merged(folder), 600.0)
    return [event for item in items for event in take(road, item).events]


def test_alarms_predicted_for_the_present_settings_are_those_of_the_road(
    small_room: Path, account: Account
) -> None:
    """Every event: when, which, how urgent."""
    live = [told(event) for event in events_of_the_road(small_room, None)]
    assert len(live) > 3
    assert predict(account, lambda name: Strain(name=name)).told == live


def test_alarms_predicted_for_other_thresholds_are_those_of_a_road_that_has_them(
    small_room: Path, account: Account
) -> None:
    """Lax ones, under which healthy bags are called too."""
    lax = Strain(least_excess_k=0.1, false_calls_per_100=20.0, hold_s=0.0)
    live = [told(event) for event in events_of_the_road(small_room, lax)]
    predicted = predict(account, lambda name: replace(lax, name=name)).told
    assert predicted == live
    assert predicted != predict(account, lambda name: Strain(name=name)).told


def test_a_budget_moves_the_needed_odds_by_the_log_of_the_ratio(account: Account) -> None:
    """The law that `shifted` relies on is the judge's own."""
    evidence = next(iter(account.frames[-1].evidence.values()), None)
    evidence = evidence or next(e for f in account.frames for e in f.evidence.values())
    by = needed_log_odds(0.1, 0.05, 1.0) - needed_log_odds(2.0, 0.05, 1.0)
    moved = shifted(evidence, 2.0, 0.1)
    assert moved.hot_needed - evidence.hot_needed == pytest.approx(by)
    assert moved.stalled_needed - evidence.stalled_needed == pytest.approx(by)
    assert shifted(evidence, 2.0, 2.0) is evidence


def test_an_account_reads_back_from_text_as_it_was(account: Account) -> None:
    assert [from_line(to_line(frame)) for frame in account.frames] == list(account.frames)


def test_the_scan_of_hundreds_gives_what_calls_give_for_each(account: Account) -> None:
    """Bag by bag, to the frame, for random thresholds."""
    draw = np.random.default_rng(1)
    candidates = [
        Thresholds(float(least), float(budget), float(hold))
        for least, budget, hold in zip(
            draw.uniform(0.02, 1.5, 3),
            10 ** draw.uniform(-1, 2, 3),
            draw.choice([0.0, 600.0, 3600.0, 5000.0, 6 * 3600.0], 3),
            strict=True,
        )
    ]
    names = {bag.strain for _, _, bags in walk(account, AnyStrain()) for bag in bags.values()}
    for strain in sorted(names):
        kept = stretches([account], strain, AnyStrain())
        found = first_calls(kept, candidates)
        for column, one in enumerate(candidates):
            asked = Strain(
                least_excess_k=one.least_excess_k,
                false_calls_per_100=one.false_calls_per_100,
                hold_s=one.hold_s,
            )
            called_s = predict(account, lambda name, one=asked: replace(one, name=name)).called_s
            for row, (_, bag) in enumerate(kept.bags):
                assert found[row, column] == called_s.get(bag, np.inf)


class AnyStrain(dict[str, Strain]):
    """Every strain is the generic one."""

    def __missing__(self, name: str) -> Strain:
        return Strain(name=name)
