"""What was learned of a strain stands where the watch looks for it, and below a grower's word."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from monitor.settings.learned import LearnedStrain, write_learned
from monitor.settings.load import load_settings, load_strains
from monitor.settings.schema_strains import HeatSettings
from tests.settings.test_load import REST, ROOM

STRAINS = """\
groups:
  oyster: {heat: {peak: 1.0 K, peak_at: 90 h}}
strains:
  GO-12: {group: oyster, heat: {peak_at: 70 h}}
  AM-3: {group: oyster}
"""
SEEN = LearnedStrain(
    room="barn", first=date(2026, 1, 1), last=date(2026, 3, 1), runs=5, bags=60,
    heat=HeatSettings(
        peak_k=2.5, peak_k_sd=0.3, peak_h=80.0, peak_h_sd=8.0, rise_h=12.0, rise_h_sd=3.0,
        keep=0.2, keep_sd=0.05,
    ),
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "monitor.yaml").write_text(ROOM + REST, encoding="utf-8")
    (tmp_path / "strains.yaml").write_text(STRAINS, encoding="utf-8")
    write_learned(tmp_path, {"GO-12": SEEN})
    return tmp_path


def test_a_watch_and_a_replay_expect_what_was_learned(folder: Path) -> None:
    for book in (load_settings(folder, {}).strains, load_strains(folder)):
        assert book.strains["GO-12"].prior.peak_k == 2.5
        assert book.strains["AM-3"].prior.peak_k == 1.0
        assert book.unlearned["GO-12"].prior.peak_k == 1.0


def test_what_the_grower_wrote_for_the_strain_holds_against_what_was_learned(folder: Path) -> None:
    assert load_settings(folder, {}).strains.strains["GO-12"].prior.peak_h == 70.0
