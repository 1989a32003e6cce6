"""What is normal for a strain is learned, shown, kept, exchanged and expected by the judge."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from monitor.cli import main
from monitor.cli.exits import Exit
from monitor.judge.strain import HeatPrior, Strain
from monitor.review.normal import Normal, as_learned, exported, normal_line, normals
from monitor.review.outcomes import endings
from monitor.review.predict import predict
from monitor.review.promise import correction, promise_lines, promises
from monitor.review.records import HEALTHY, BagRecord
from monitor.review.tune import Room
from monitor.review.tune_rows import exact_interval
from monitor.settings.load import load_learned, load_strains
from monitor.thermal.bag import describe_bag
from monitor.thermal.growth import curve
from monitor.values import Estimate, Evidence, Reason
from tests.readme_examples import README, squashed
from tests.tune.seasons import Plan, season

HOUR_S, DAY_S = 3600.0, 86400.0
START_S = 1_767_600_000.0
PEAK_K, PEAK_H, RISE_H, KEEP, FULL_D = 1.6, 110.0, 26.0, 0.2, 13.0
GUESS = Strain("GO-12", prior=HeatPrior(peak_k=2.4, peak_h=150.0, peak_h_sd=50.0))
MONITOR = """\
room: {name: barn, timezone: UTC, band_low: 15 C, band_high: 29 C}
channels: none
store: {path: bagwatt.db}
"""


def looks_of(
    runs: int, seed: int = 3
) -> tuple[list[BagRecord], list[tuple[Estimate, Evidence | None]]]:
    """Finished healthy runs whose heat is known: each bag at its own strength and hour."""
    draw = np.random.default_rng(seed)
    per_k = describe_bag(2.3).loss_w_per_k / 2.3
    records, looks = [], []
    for run in range(runs):
        began_s = START_S + 30 * DAY_S * run
        for index in range(6):
            name = f"GO12-{run}{index}"
            scale, shift_h = draw.normal(1.0, 0.1), draw.normal(0.0, 6.0)
            records.append(
                BagRecord(name, f"QL-{run}", "GO-12", "lot", began_s, 2.3, session=f"S{run}",
                          outcome=HEALTHY, full_run_s=began_s + FULL_D * DAY_S, standing=False)
            )  # fmt: skip
            for step in range(4, 60):
                at_s = began_s + step * 6 * HOUR_S
                age_h = np.array([step * 6.0])
                drawn = curve(age_h, scale * PEAK_K * per_k, PEAK_H + shift_h, RISE_H, KEEP)
                heat = float(drawn[0]) + draw.normal(0.0, 0.01)
                estimate = Estimate(name, at_s, None, None, None, heat)
                evidence = Evidence(
                    name, "c", at_s, 0.0, 0.0, 5.0, 5.0, 5, 0.1, Reason.LIKE_ITS_COHORT,
                    scale=scale, shift_h=-shift_h,
                )  # fmt: skip
                looks.append((estimate, evidence))
    looks.sort(key=lambda pair: (pair[0].at_s, pair[0].bag))
    return records, looks


@pytest.fixture(scope="module")
def known() -> Normal:
    records, looks = looks_of(5)
    return normals(["GO-12"], lambda name: GUESS, {}, records, looks)["GO-12"]


def test_five_finished_runs_tell_the_heat_curve_they_were_drawn_from(known: Normal) -> None:
    """The settings' guess was 2.4 K on day 6.2; bags at different hours flatten the mean a bit."""
    assert (known.runs, known.bags) == (5, 30)
    assert known.peak_k == pytest.approx(PEAK_K, rel=0.1)
    assert known.peak_h == pytest.approx(PEAK_H, rel=0.06)
    assert known.full_run_d[0] < FULL_D < known.full_run_d[2]
    assert known.scale_sd == pytest.approx(0.1, rel=0.4)
    assert known.shift_sd_h == pytest.approx(6.0, rel=0.4)
    middle = max(known.curve, key=lambda row: row[2])
    assert abs(middle[0] - PEAK_H / 24) <= 1.0
    assert all(low <= mid <= high for _, low, mid, high in known.curve)


def test_a_normal_is_said_in_one_line_in_both_degrees(known: Normal) -> None:
    line = normal_line(known, "C")
    assert line.startswith(f"GO-12 peaks on day {known.peak_h / 24:.1f} ± ")
    assert f"at {known.peak_k:.1f} ± " in line and "5 runs, 30 bags" in line
    assert f" ± {known.peak_k_sd:.1f} °C, full run on day " in line
    peak_f, sd_f = 1.8 * known.peak_k, 1.8 * known.peak_k_sd
    assert f"at {peak_f:.1f} ± {sd_f:.1f} °F" in normal_line(known, "F")
    assert "; 1 run, 1 bag, 2026-" in normal_line(replace(known, runs=1, bags=1), "C")


def test_the_normal_in_the_readme_is_told_so(known: Normal) -> None:
    assert f'"{normal_line(known, "C")}"' in squashed(README)


def test_without_a_finished_run_nothing_is_normal() -> None:
    records, looks = looks_of(1)
    early = [pair for pair in looks if pair[0].at_s < START_S + 3 * DAY_S]
    assert normals(["GO-12"], lambda name: GUESS, {}, records, early) == {}


def test_a_hybrid_borrows_its_parents_and_has_nothing_of_its_own_to_keep(known: Normal) -> None:
    records, looks = looks_of(3)
    parents = {"HX-5": ("GO-12", "AM-3")}
    found = normals(["GO-12", "AM-3", "HX-5"], lambda name: GUESS, parents, records, looks)["HX-5"]
    assert found.bags == 0
    assert found.peak_h_sd > known.peak_h_sd
    with pytest.raises(ValueError, match="goes on with its parents' heat"):
        as_learned(found, "barn")


def farm(path: Path, strains: str) -> Path:
    """A settings folder without a store."""
    path.mkdir()
    (path / "monitor.yaml").write_text(MONITOR, encoding="utf-8")
    (path / "strains.yaml").write_text(strains, encoding="utf-8")
    return path


def test_an_exported_normal_is_what_another_farm_expects_and_it_is_warned(
    known: Normal, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It stands behind the strain's own words and before its group's and parents'."""
    file = tmp_path / "go12.json"
    file.write_text(json.dumps(exported("GO-12", as_learned(known, "quarry lane"))), "utf-8")
    config = farm(
        tmp_path / "farm",
        "groups: {oyster: {heat: {peak: 3 K}}}\n"
        "strains: {GO-12: {group: oyster}, AM-3: {}, HX-5: {parents: [GO-12, AM-3]}}\n",
    )
    before = load_strains(config)
    assert main(["tune", "--import", str(file), "--config", str(config)]) == Exit.DONE
    assert "learned in another room" in capsys.readouterr().out
    now = load_strains(config)
    assert now.lookup("GO-12").prior.peak_k == pytest.approx(known.peak_k, abs=0.01)
    assert now.before_learning("GO-12").prior.peak_k == 3.0
    assert now.lookup("HX-5").prior.peak_k < before.lookup("HX-5").prior.peak_k
    assert now.lookup("AM-3") == before.lookup("AM-3")
    (config / "strains.yaml").write_text("strains: {GO-12: {heat: {peak: 2 K}}}\n", "utf-8")
    assert load_strains(config).lookup("GO-12").prior.peak_k == 2.0
    assert load_learned(config)["GO-12"].runs == 5


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "go12.json"),
        ("[1]", "no file that `bagwatt tune --export` wrote"),
        ('{"bagwatt_normal": 1}', "names no strain"),
        ('{"bagwatt_normal": 1, "strain": "GO-12", "heat": {"peak_k": 99}}', "go12.json: "),
    ],
)
def test_a_file_that_is_no_normal_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    config = farm(tmp_path / "farm", "strains: {GO-12: {}}\n")
    (tmp_path / "go12.json").write_text(text, encoding="utf-8")
    words = ["tune", "--import", str(tmp_path / "go12.json"), "--config", str(config)]
    assert main(words) == Exit.UNUSABLE
    assert said in capsys.readouterr().err
    assert not (config / "learned.yaml").exists()


def test_a_fault_in_learned_yaml_is_told_with_its_place(tmp_path: Path) -> None:
    config = farm(tmp_path / "farm", "strains: {GO-12: {}}\n")
    (config / "learned.yaml").write_text("strains:\n  GO-12: {runs: many}\n", encoding="utf-8")
    assert main(["tune", "GO-12", "--config", str(config)]) == Exit.UNUSABLE


def test_a_promise_that_lively_bags_break_is_told_with_the_budget_that_would_keep_it() -> None:
    drawn = season(7, Plan(runs=2, bags=30, days=8.0))
    rooms = []
    for account, book in zip(drawn.accounts, drawn.books, strict=True):
        ends = endings(account.frames[0].bags, book, account.frames[-1].end_s, 30 * DAY_S)
        called_s = predict(account, lambda name: Strain(name=name)).called_s
        rooms.append(Room(account, ends, called_s))
    one, every = promises(rooms, lambda name: Strain(name=name))
    assert (one.strain, every.strain) == ("GO-12", "")
    assert one.verdict == "not kept" and one.false > 5
    assert one.budget is not None and one.budget < one.promised
    line = promise_lines([one])[0]
    assert f"false_calls_per_100: {one.budget:.2g}" in line and "`bagwatt tune GO-12`" in line


def test_only_data_move_the_correction() -> None:
    """Nothing seen: as promised. What was promised, seen: still as promised."""
    assert correction(0.5, 0, 0) == 1.0
    assert correction(0.5, 5, 1000) == 1.0
    assert correction(0.5, 20, 1000) == pytest.approx(22 / 7)
    assert correction(0.5, 0, 1000) < 1.0


def test_exact_intervals_are_those_of_a_published_table() -> None:
    """0 of 10 at 95 %: up to 30.85 per 100; 1 of 10: 0.25 to 44.50 (Clopper and Pearson 1934's
    construction, as tabled in Documenta Geigy; from memory)."""
    assert exact_interval(0, 10, 0.95) == pytest.approx((0.0, 30.85), abs=0.01)
    assert exact_interval(1, 10, 0.95) == pytest.approx((0.25, 44.50), abs=0.01)
    assert exact_interval(0, 0) == (0.0, 100.0)
