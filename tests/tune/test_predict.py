"""What tuning predicts is what the road said: live code on kept evidence, alone and by hundreds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from monitor.judge.odds import needed_log_odds
from monitor.judge.strain import Strain
from monitor.replay import replay_folder
from monitor.review.account import Account, shifted, walk
from monitor.review.account_text import from_line, to_line
from monitor.review.predict import predict
from monitor.review.scan import Thresholds, first_calls, stretches
from monitor.review.tune_words import file_values
from monitor.settings.edit import apply, snapshot
from monitor.settings.load import load_strains
from tests.tune.shown import promised, shown


def test_a_replay_under_applied_thresholds_shows_the_alarms_that_were_promised(
    small_room: Path, account: Account, tmp_path: Path
) -> None:
    """Lax thresholds, under which healthy bags are called too, are written into strains.yaml."""
    (tmp_path / "strains.yaml").write_text("strains: {GO-12: {}}\n", encoding="utf-8")
    names = {bag.strain for frame in account.frames for bag in frame.bags.values()}
    lax = Thresholds(0.1, 20.0, 0.0)
    for name in sorted(names):
        apply(snapshot(tmp_path), name, file_values(lax))
    replay_folder(small_room, tmp_path / "out", tmp_path)
    found = predict(account, load_strains(tmp_path).lookup)
    assert shown(tmp_path / "out") == promised(found)
    assert found.told != predict(account, lambda name: Strain(name=name)).told


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
    some_called = False
    for strain in sorted(names):
        kept = stretches([account], strain, AnyStrain())
        found = first_calls(kept, candidates)
        some_called |= bool(np.isfinite(found).any())
        for column, one in enumerate(candidates):
            asked = Strain(
                least_excess_k=one.least_excess_k,
                false_calls_per_100=one.false_calls_per_100,
                hold_s=one.hold_s,
            )
            called_s = predict(account, lambda name, one=asked: replace(one, name=name)).called_s
            for row, (_, bag) in enumerate(kept.bags):
                assert found[row, column] == called_s.get(bag, np.inf)
    assert some_called


class AnyStrain(dict[str, Strain]):
    """Every strain is the generic one."""

    def __missing__(self, name: str) -> Strain:
        return Strain(name=name)
