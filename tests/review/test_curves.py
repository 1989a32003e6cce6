"""Heat curves: fitted, learned from runs, borrowed from parents."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from monitor.judge.strain import HeatPrior, Strain
from monitor.review.curves import (
    AGE,
    FULL,
    KEEP,
    OVER_IN_RISES,
    PEAK,
    RISE,
    Run,
    expected_of,
    fit,
    full_run_h,
    heat_over_h,
    heat_w_per_kg,
    learned,
    mixed,
)
from monitor.review.records import HEALTHY, UNKNOWN, BagRecord
from monitor.review.runs import runs_of, strains_learned
from monitor.thermal.growth import curve
from monitor.values import Estimate

STRAIN = Strain("GO-12", known=True, run_days=(12.0, 21.0), prior=HeatPrior(peak_k=1.9))
TRUE = np.array([[math.log(1.2), math.log(100.0), math.log(16.0), math.log(0.2 / 0.8), 0.1]])
AGES_H = np.arange(12.0, 300.0, 6.0)


def run_of(curves: np.ndarray, until_h: float = 300.0, full: bool = True) -> Run:
    """What a batch with these five numbers shows until an age, with a little noise."""
    ages = AGES_H[until_h >= AGES_H]
    noise = np.random.default_rng(7).normal(0.0, 0.03, len(ages))
    noted = float(full_run_h(curves)[0]) if full else None
    return Run(ages, heat_w_per_kg(curves, ages)[0] + noise, noted)


def test_growth_heat_is_a_tenth_where_the_curve_says_it_is_over() -> None:
    """Without kept heat the whole curve is a tenth of its peak there."""
    numbers = TRUE.copy()
    numbers[0, KEEP] = -20.0
    over_h = heat_over_h(numbers)
    assert float(curve(over_h[0], 1.0, 100.0, 16.0, 1e-9)) == pytest.approx(0.1, abs=1e-6)
    assert pytest.approx(3.6369, abs=1e-4) == OVER_IN_RISES  # ln(0.9743/0.0257)


def test_settings_give_the_middle_of_the_strain_s_run_days() -> None:
    """Geometric middle of 12 and 21 days, and the peak in watts of a 2.3 kg bag."""
    middle = expected_of(STRAIN).mean[None, :]
    assert float(full_run_h(middle)[0]) == pytest.approx(24 * math.sqrt(12 * 21))
    assert math.exp(middle[0, AGE]) == pytest.approx(130.0)


def test_a_fit_finds_the_curve_behind_the_readings() -> None:
    """Peak within 5 %, ages within two hours, full run as noted; and it knows how well."""
    found = fit(expected_of(STRAIN), run_of(TRUE))
    assert math.exp(found.mean[PEAK]) == pytest.approx(1.2, rel=0.05)
    assert math.exp(found.mean[AGE]) == pytest.approx(100.0, abs=2.0)
    assert math.exp(found.mean[RISE]) == pytest.approx(16.0, rel=0.12)
    apart = np.abs(found.mean - TRUE[0]) / np.sqrt(np.diag(found.covariance))
    assert apart.max() < 3.0


def test_early_readings_narrow_the_peak_and_never_widen_it() -> None:
    """After three days the age at the peak is better known than before."""
    before = expected_of(STRAIN)
    after = fit(before, run_of(TRUE, until_h=80.0, full=False))
    assert after.covariance[AGE, AGE] < 0.3 * before.covariance[AGE, AGE]
    assert abs(after.mean[AGE] - TRUE[0, AGE]) < abs(before.mean[AGE] - TRUE[0, AGE])


def test_finished_runs_teach_the_next_one_and_more_runs_more() -> None:
    """The expectation moves to the runs, and holds its spread between batches."""
    before = expected_of(STRAIN)
    one, four = learned(before, [run_of(TRUE)]), learned(before, [run_of(TRUE)] * 4)
    for number in (PEAK, AGE, RISE, FULL):
        assert (
            abs(one.mean[number] - TRUE[0, number])
            < 0.35 * abs(before.mean[number] - TRUE[0, number]) + 0.02
        )
        assert four.covariance[number, number] < one.covariance[number, number]
    assert math.sqrt(four.covariance[AGE, AGE]) > 0.05
    assert (before.runs, one.runs, four.runs) == (0, 1, 4)


def test_a_mix_of_parents_is_as_wide_as_they_are_apart() -> None:
    """Law of total variance on two unlike parents."""
    fast = expected_of(replace(STRAIN, prior=replace(STRAIN.prior, peak_h=80.0)))
    slow = expected_of(replace(STRAIN, prior=replace(STRAIN.prior, peak_h=160.0)))
    both = mixed([fast, slow])
    between = (math.log(160) - math.log(80)) ** 2 / 4
    inside = (fast.covariance[AGE, AGE] + slow.covariance[AGE, AGE]) / 2
    assert both.covariance[AGE, AGE] == pytest.approx(inside + between)
    assert both.mean[AGE] == pytest.approx((math.log(80) + math.log(160)) / 2)


def batch(strain: str, name: str, peak_h: float, standing: bool) -> tuple[list, list]:
    """Three bags of a batch and what was seen of their heat."""
    numbers = TRUE.copy()
    numbers[0, AGE] = math.log(peak_h)
    full_s = None if standing else float(full_run_h(numbers)[0]) * 3600.0
    bags = [
        BagRecord(
            f"{name}-{i}", name, strain, "J1", 0.0, 2.3, "R1", 1, i,
            outcome=UNKNOWN if standing else HEALTHY, full_run_s=full_s, standing=standing,
        )
        for i in range(3)
    ]  # fmt: skip
    ages = AGES_H[(48.0 if standing else 300.0) >= AGES_H]
    heat = heat_w_per_kg(numbers, ages)[0]
    seen = [
        Estimate(bag.bag, float(age) * 3600.0, None, 21.0, None, float(watts))
        for bag in bags
        for age, watts in zip(ages, heat, strict=True)
    ]
    return bags, seen


def test_a_hybrid_borrows_what_its_parents_learned_until_it_has_its_own() -> None:
    """Parents peak at 80 and 100 h where settings say 130; its own first run peaks at 150."""
    strains = {name: replace(STRAIN, name=name) for name in ("GO-12", "AM-3", "HX-5")}
    parents = {"HX-5": ("GO-12", "AM-3")}
    parts = [batch("GO-12", "a", 80.0, False), batch("AM-3", "b", 100.0, False)]
    under_way = batch("HX-5", "c", 90.0, True)

    def peak_h(*batches: tuple[list, list]) -> tuple[float, int]:
        bags = [bag for one in batches for bag in one[0]]
        runs = runs_of(bags, [seen for one in batches for seen in one[1]])
        found = strains_learned(["HX-5"], strains.__getitem__, parents, bags, runs)["HX-5"]
        return math.exp(found.mean[AGE]), found.runs

    alone, borrowed = peak_h(under_way), peak_h(*parts, under_way)
    own = peak_h(*parts, under_way, batch("HX-5", "d", 150.0, False))
    assert alone == (pytest.approx(130.0), 0)
    assert borrowed == (pytest.approx(91.0, abs=5.0), 0)
    assert own[0] > 125.0
    assert own[1] == 1


def test_lost_and_alarmed_bags_teach_nothing() -> None:
    """A contaminated bag's heat is not the strain's."""
    bags, seen = batch("GO-12", "a", 80.0, False)
    bags[0] = replace(bags[0], alarmed=True)
    hot = [replace(one, heat_w_per_kg=9.0) if one.bag == "a-0" else one for one in seen]
    assert max(runs_of(bags, hot)["a GO-12"].heat_w_per_kg) < 1.3
