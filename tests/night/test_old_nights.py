"""A night older than the readings are kept: told from what is left of them, and said so."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.assemble import plan_of
from monitor.cli import main
from monitor.review.gather import book_then, gather_night
from monitor.review.night import review_night
from monitor.review.night_nouns import Night
from monitor.review.nights import Window
from monitor.settings.load import load_settings
from monitor.store import Store, open_reader
from monitor.values import Reason
from tests.night.room import DEAD_S, EVENING_S, NIGHT_S, STUCK_S, ZONE

HOUR_S = 3600.0
WINDOW = Window(EVENING_S, NIGHT_S)
YEAR_S = 365 * 86400.0


def night_of(config: Path) -> Night:
    settings = load_settings(config, {}, outside=False)
    with open_reader(settings.store.path) as store:
        plan = plan_of(*book_then(store, WINDOW))
        return review_night(gather_night(store, settings, plan, WINDOW, ZONE))


def aged(config: Path, path: Path, before_s: float) -> Path:
    """The same farm after its readings of frames before a moment were thrown away."""
    shutil.copytree(config, path)
    with Store.open(path / "bagwatt.db", NIGHT_S) as store:
        for state in ("{}", '{"a": 1}'):
            store.save_checkpoint(NIGHT_S + YEAR_S, state)
        with store.transaction():
            while store.prune(before_s, limit=50_000):
                pass
    return path


@pytest.fixture(scope="module")
def kept(config: Path) -> Night:
    """The night while every reading is there."""
    return night_of(config)


@pytest.fixture(scope="module")
def old(config: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A year later; meanwhile a probe hangs on another bag."""
    path = aged(config, tmp_path_factory.mktemp("old") / "farm", NIGHT_S + YEAR_S)
    with Store.open(path / "bagwatt.db", NIGHT_S + YEAR_S) as store:
        bags, probes = store.book()
        assert not list(store.readings_after(0, 10**9)), "every reading was thrown away"
        moved = replace(probes["p003"], bag="NEW-1")
        new = replace(bags["B003"], bag="NEW-1", probe="", inoculated_s=NIGHT_S + YEAR_S)
        store.add_book(NIGHT_S + YEAR_S, [new], [moved])
    return path


def test_old_night_is_told_from_ten_minute_means(old: Path, kept: Night) -> None:
    """Level, band, layers and water within what ten minutes blur; the stuck heater and the dead
    probe are still named; hours of the judge are kept at every sixth only."""
    night = night_of(old)
    assert night.rolled and not kept.rolled
    assert night.level is not None and kept.level is not None
    assert night.level.mean_c == pytest.approx(kept.level.mean_c, abs=0.05)
    assert night.level.high_c == pytest.approx(kept.level.high_c, abs=0.3)
    assert night.above_s == pytest.approx(kept.above_s, abs=900.0)
    assert night.compared is not None and kept.compared is not None
    assert night.compared.nights == kept.compared.nights
    assert night.compared.warmer_k == pytest.approx(kept.compared.warmer_k, abs=0.02)
    assert night.compared.swing_k == pytest.approx(kept.compared.swing_k, abs=0.02)
    assert night.layers is not None and kept.layers is not None
    assert night.layers.step_k == pytest.approx(kept.layers.step_k, abs=0.05)
    assert night.moist is not None and kept.moist is not None
    assert night.moist.mean == pytest.approx(kept.moist.mean, abs=0.5)
    stuck = next(one for one in night.happenings if one.reason is Reason.HEATER_STUCK)
    assert stuck.start_s == pytest.approx(STUCK_S, abs=1800.0)
    (dead,) = night.probes
    assert dead.probe == "p005" and dead.longest is not None
    assert dead.longest.start_s == pytest.approx(DEAD_S, abs=900.0)
    assert night.rhythm is None and night.spacing_s == 600.0


def test_old_night_has_the_book_of_its_day(old: Path, kept: Night) -> None:
    """A bag that came later is in no cohort of it, a probe hangs where it hung."""
    night = night_of(old)
    assert [(one.cohort, one.bags) for one in night.cohorts] == [
        (one.cohort, one.bags) for one in kept.cohorts
    ]
    assert (night.bags, night.bags_heard) == (kept.bags, kept.bags_heard)


def test_night_half_thrown_away_is_told_whole(config: Path, tmp_path: Path, kept: Night) -> None:
    """Nothing is counted twice where means end and readings begin."""
    night = night_of(aged(config, tmp_path / "farm", EVENING_S + 6 * HOUR_S))
    assert night.rolled
    assert night.level is not None and kept.level is not None
    assert night.level.mean_c == pytest.approx(kept.level.mean_c, abs=0.05)
    assert len([one for one in night.course if one.mean_c is not None]) == 72
    for point, before in zip(night.course, kept.course, strict=True):
        assert point.mean_c == pytest.approx(before.mean_c, abs=0.02)


def test_command_tells_an_old_night_by_its_date_and_from_what(
    old: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 3: the dead probe's alarm stood unanswered at the end of that night."""
    assert main(["night", "--config", str(old), "--date", "2026-03-04"]) == 3
    told = " ".join(capsys.readouterr().out.split())
    assert "Wed 4 Mar 20:00 to Thu 5 Mar 08:00, from ten-minute means" in told
    assert "as if a heater were stuck on" in told


def test_date_that_is_none_is_refused(old: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["night", "--config", str(old), "--date", "yesterday"]) == 2
    assert "is no day" in capsys.readouterr().err
