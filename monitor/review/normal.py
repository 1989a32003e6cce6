"""What is normal for a strain here: its heat curve, spread, lag and days to full run, learned
from finished healthy runs."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from monitor.judge.strain import Strain
from monitor.review.curves import AGE, KEEP, PEAK, RISE, Curves, full_run_h, heat_w_per_kg
from monitor.review.forecast import batch_key
from monitor.review.lag import Lag
from monitor.review.records import BagRecord
from monitor.review.runs import runs_of, strains_learned
from monitor.settings.learned import LearnedStrain
from monitor.thermal.bag import describe_bag
from monitor.values import Estimate, Evidence
from monitor.words.quantities import counted, difference, number

#: Bag for which surface warmth is said, as in strains.yaml.
SAID_FOR_KG = 2.3
EXPORT_FORMAT = 1
#: A curve is said at these ages [days].
CURVE_STEP_D = 1.0


@dataclass(frozen=True)
class Normal:
    """A strain's normal. Spreads are 1 sd of what the next run will do; `scale_sd` and
    `shift_sd_h` are between bags of one cohort; `lag` as it was seen, or in words why it
    was not. `curve` is (age [d], low, middle, high) of surface warmth [K], 80 %."""

    strain: str
    runs: int
    bags: int
    first_s: float
    last_s: float
    peak_k: float
    peak_k_sd: float
    peak_h: float
    peak_h_sd: float
    rise_h: float
    rise_h_sd: float
    keep: float
    keep_sd: float
    full_run_d: tuple[float, float, float]
    scale_sd: float | None
    shift_sd_h: float | None
    curve: tuple[tuple[float, float, float, float], ...]
    lag: Lag | str = ""


def normals(
    strains: Iterable[str],
    lookup: Callable[[str], Strain],
    parents: Mapping[str, Sequence[str]],
    records: Sequence[BagRecord],
    looks: Sequence[tuple[Estimate, Evidence | None]],
) -> dict[str, Normal]:
    """The normal of each strain that has a finished run of its own; a hybrid without borrows
    its parents' curve, and has no bags behind it.

    lookup  strains as settings have them before learning
    looks   estimates of the bags by time, with their evidence where there was one
    """
    runs = runs_of(records, (one for one, _ in looks))
    curves = strains_learned(strains, lookup, parents, records, runs)
    found = {}
    for name, learned in curves.items():
        family = [curves.get(parent) for parent in parents.get(name, ())]
        if learned.runs or any(one is not None and one.runs for one in family):
            ours = [one for one in records if one.strain == name and batch_key(one) in runs]
            found[name] = _normal(name, learned, ours, looks)
    return found


def _normal(
    name: str,
    learned: Curves,
    records: Sequence[BagRecord],
    looks: Sequence[tuple[Estimate, Evidence | None]],
) -> Normal:
    sound = {one.bag: one for one in records if not one.lost and not one.alarmed}
    last: dict[str, Evidence] = {}
    at_s = []
    for estimate, evidence in looks:
        if estimate.bag in sound:
            at_s.append(estimate.at_s)
            if evidence is not None and evidence.excess_k is not None:
                last[estimate.bag] = evidence
    mean, spread = learned.mean, np.sqrt(np.diag(learned.covariance))
    per_k = SAID_FOR_KG / describe_bag(SAID_FOR_KG).loss_w_per_k
    peak, age, rise = (float(value) for value in np.exp(mean[PEAK : RISE + 1]))
    keep = float(1.0 / (1.0 + np.exp(-mean[KEEP])))
    full_d = [float(value) / 24.0 for value in _full_run(learned)]
    own = bool(learned.runs)
    return Normal(
        strain=name,
        runs=learned.runs,
        bags=len(sound) if own else 0,
        first_s=min(at_s, default=0.0),
        last_s=max(at_s, default=0.0),
        peak_k=peak * per_k,
        peak_k_sd=peak * per_k * float(spread[PEAK]),
        peak_h=age,
        peak_h_sd=age * float(spread[AGE]),
        rise_h=rise,
        rise_h_sd=rise * float(spread[RISE]),
        keep=keep,
        keep_sd=keep * (1.0 - keep) * float(spread[KEEP]),
        full_run_d=(full_d[0], full_d[1], full_d[2]),
        scale_sd=_between([one.scale for one in last.values()]),
        shift_sd_h=_between([one.shift_h for one in last.values()]),
        curve=_curve(learned, per_k, full_d[1]),
    )


def _full_run(learned: Curves) -> tuple[float, float, float]:
    """Age at full run [h]: 80 % of batches and the middle."""
    drawn = full_run_h(learned.draws(400))
    low, middle, high = np.quantile(drawn, (0.1, 0.5, 0.9))
    return float(low), float(middle), float(high)


def _curve(
    learned: Curves, per_k: float, full_d: float
) -> tuple[tuple[float, float, float, float], ...]:
    ages_d = np.arange(0.0, math.ceil(1.2 * full_d) + CURVE_STEP_D, CURVE_STEP_D)
    drawn = heat_w_per_kg(learned.draws(400), ages_d * 24.0) * per_k
    low, middle, high = np.quantile(drawn, (0.1, 0.5, 0.9), axis=0)
    return tuple(
        (float(age), float(a), float(b), float(c))
        for age, a, b, c in zip(ages_d, low, middle, high, strict=True)
    )


def _between(values: Sequence[float]) -> float | None:
    return float(np.std(values, ddof=1)) if len(values) > 2 else None


def as_learned(normal: Normal, room: str) -> LearnedStrain:
    """The normal as `learned.yaml` keeps it; ValueError where it rests on no run of its own."""
    if not normal.runs or not normal.bags:
        raise ValueError(
            f"{normal.strain} has no finished run of its own: it goes on with its parents' heat"
        )
    low_d, _, high_d = normal.full_run_d
    return LearnedStrain.model_validate(
        {
            "room": room,
            "first": _day(normal.first_s),
            "last": _day(normal.last_s),
            "runs": normal.runs,
            "bags": normal.bags,
            "heat": _heat(normal),
            "run": {"shortest_d": round(low_d, 1), "longest_d": round(high_d, 1)},
            "lag": _lag(normal.lag),
        }
    )


def _lag(lag: Lag | str) -> dict[str, float] | None:
    if isinstance(lag, str):
        return None
    return {
        "seen_h": round(lag.lag_h, 2),
        "low_h": round(lag.low_h, 2),
        "high_h": round(lag.high_h, 2),
    }


def _heat(normal: Normal) -> dict[str, float]:
    return {
        "peak_k": round(normal.peak_k, 2),
        "peak_k_sd": max(round(normal.peak_k_sd, 2), 0.01),
        "peak_h": round(normal.peak_h, 1),
        "peak_h_sd": max(round(normal.peak_h_sd, 1), 0.1),
        "rise_h": round(normal.rise_h, 1),
        "rise_h_sd": max(round(normal.rise_h_sd, 1), 0.1),
        "keep": round(normal.keep, 3),
        "keep_sd": max(round(normal.keep_sd, 3), 0.001),
    }


def _day(at_s: float) -> str:
    return datetime.fromtimestamp(at_s, UTC).date().isoformat()


def exported(strain: str, learned: LearnedStrain) -> dict[str, Any]:
    """What another farm is given: one strain, plain JSON, SI units in the names."""
    return {
        "bagwatt_normal": EXPORT_FORMAT,
        "strain": strain,
        "room": learned.room,
        "first": learned.first.isoformat(),
        "last": learned.last.isoformat(),
        "runs": learned.runs,
        "bags": learned.bags,
        "heat": learned.heat.model_dump(by_alias=False, exclude_none=True),
        "run": learned.run.model_dump(by_alias=False) if learned.run else None,
        "lag": learned.lag.model_dump(by_alias=False) if learned.lag else None,
    }


def imported(data: Any) -> tuple[str, LearnedStrain]:
    """The strain and its normal out of such a file. Raises ValueError with a clear word."""
    if not isinstance(data, dict) or data.get("bagwatt_normal") != EXPORT_FORMAT:
        raise ValueError("this is no file that `bagwatt tune --export` wrote")
    fields = {key: data.get(key) for key in ("room", "first", "last", "runs", "bags", "heat")}
    fields |= {key: data[key] for key in ("run", "lag") if data.get(key) is not None}
    strain = data.get("strain")
    if not isinstance(strain, str) or not strain:
        raise ValueError("it names no strain")
    return strain, LearnedStrain.model_validate(fields)


def lag_line(normal: Normal) -> str:
    """How slowly its bags follow their air, as it was seen; or why that can't be told."""
    lag = normal.lag
    if isinstance(lag, str):
        return f"how slowly its bags follow their air can't be told: {lag}" if lag else ""
    bags, batches = counted(lag.bags, "bag", "bags"), counted(lag.batches, "batch", "batches")
    return (
        f"its bags follow their air with a lag of {lag.lag_h:.1f} h ({lag.low_h:.1f} to"
        f" {lag.high_h:.1f}), seen on {bags} in {batches}; by mass and filling it would"
        f" be {lag.as_described_h:.1f} h, by which the judge goes"
    )


def normal_line(normal: Normal, units: str) -> str:
    """`GO-12 peaks on day 5.2 ± 0.4 at 1.9 ± 0.2 °C …`, in `units` "C" or "F"."""
    warm, sd = (difference(value_k, units) for value_k in (normal.peak_k, normal.peak_k_sd))
    low_d, middle_d, high_d = normal.full_run_d
    behind = "its parents' runs"
    if normal.bags:
        runs, bags = counted(normal.runs, "run", "runs"), counted(normal.bags, "bag", "bags")
        behind = f"{runs}, {bags}, {_day(normal.first_s)} to {_day(normal.last_s)}"
    return (
        f"{normal.strain} peaks on day {normal.peak_h / 24:.1f} ± {normal.peak_h_sd / 24:.1f}"
        f" at {number(warm)} ± {sd}, full run on day {middle_d:.0f}"
        f" ({low_d:.0f} to {high_d:.0f}); {behind}"
    )
