"""What the batches under way will do: peak heat, cores, full run, hot shelves, the room's heat.

Intervals hold 80 %. The air is taken to stay as it was over the last two days, and bags not
yet inoculated are not in it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.judge.strain import CoreLimit, Strain
from monitor.judge.verdicts import thermal_of
from monitor.review.curves import (
    AGE,
    Array,
    Curves,
    Run,
    fit,
    full_run_h,
    heat_over_h,
    heat_w_per_kg,
)
from monitor.review.records import BagRecord
from monitor.review.self_heating import growth_ends_c, settled_c
from monitor.terms import DAY_S, HOUR_S
from monitor.thermal.bag import Z80, BagThermal
from monitor.thermal.room import air_time_constant_s, ppm_after, steady_ppm

DAYS_AHEAD = 7
STEP_S = 3 * HOUR_S
DRAWS = 400
#: How far the air of one place is off its shelf's mean [K], 1 sd.
AIR_SD_K = 0.4
#: How far the described loss of bags is off, as a share, 1 sd: film, crowding, taped probes.
LOSS_SPREAD = 0.12
#: What warm neighbours and probes' offsets look like as heat [W/kg], 1 sd.
OFFSET_SD_W_PER_KG = 0.04
#: A batch is hot while its heat is above this share of its peak.
HOT_SHARE = 0.9
Place = tuple[str, int | None]


@dataclass(frozen=True, slots=True)
class Span:
    """A middle value with the ends of its 80 % interval."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class BatchForecast:
    """One batch: when it is hottest, how warm its cores are then, when it is full run.

    `peak_s`, `heat_over_s` and `full_run_s` are moments, `core_c` that of a middling bag at its
    peak in the air of the batch's warmest shelf. `runs` are the finished runs the strain's
    curve was learned from, `readings` those of this batch that moved it.
    """

    batch: str
    strain: str
    bags: int
    runs: int
    readings: int
    hot_from_s: float
    hot_until_s: float
    peak_s: Span
    peak_w_per_kg: Span
    core_c: Span
    limit: CoreLimit
    heat_over_s: Span
    full_run_s: Span
    full_run_noted: bool


@dataclass(frozen=True, slots=True)
class ShelfForecast:
    """The warmest a shelf gets in the days ahead; `hot` where a core may reach its limit."""

    rack: str
    shelf: int | None
    bags: int
    at_s: float
    heat_w: Span
    air_c: float
    core_c: Span
    limit: CoreLimit

    @property
    def hot(self) -> bool:
        return self.core_c.high >= self.limit.core_c


@dataclass(frozen=True, slots=True)
class DayForecast:
    """The bags' greatest heat in 24 hours [W] and the CO2 then; None without fresh air set."""

    from_s: float
    heat_w: Span
    co2_ppm: Span | None


@dataclass(frozen=True, slots=True)
class RoomLimits:
    """What settings say of the room; None where nothing is said."""

    cooling_w: float | None = None
    volume_m3: float | None = None
    fresh_air_m3_per_s: float | None = None


@dataclass(frozen=True, slots=True)
class Forecast:
    """All of it, made at `at_s`."""

    at_s: float
    batches: tuple[BatchForecast, ...]
    shelves: tuple[ShelfForecast, ...]
    days: tuple[DayForecast, ...]
    limits: RoomLimits


@dataclass(frozen=True)
class _Batch:
    """A batch under way with its drawn curves."""

    name: str
    bags: Sequence[BagRecord]
    strain: Strain
    curves: Array
    runs: int
    readings: int
    inoculated_s: float
    thermal: BagThermal

    def drawn_w_per_kg(self, times_s: Array) -> Array:
        """Heat as the curves have it, in a bag that never gets too warm for it."""
        return heat_w_per_kg(self.curves, (times_s - self.inoculated_s) / HOUR_S)

    def made_w_per_kg(self, drawn: Array, air_c: float) -> Array:
        """What is made of drawn heats in the warmth that they bring: that of the bag's middle
        section, which is as much over its side as `BagThermal.heat_lag_s` says."""
        thermal = self.thermal
        k_per_w = 0.5 * (1.0 + thermal.core_per_surface) * thermal.mass_kg / thermal.loss_w_per_k
        warm_c = settled_c(air_c, k_per_w * drawn, self.growth_ends_c)
        return np.asarray((warm_c - air_c) / k_per_w)

    @property
    def growth_ends_c(self) -> float:
        return growth_ends_c(self.strain.core_limits)


def forecast(
    bags: Sequence[BagRecord],
    runs: Mapping[str, Run],
    expected: Mapping[str, Curves],
    strain_of: Callable[[str], Strain],
    air_c: Callable[[Place], float],
    limits: RoomLimits,
    at_s: float,
) -> Forecast:
    """What the standing bags will do from `at_s` on.

    bags       those that stand
    runs       readings of their batches so far, by batch; a batch may have none
    expected   what to expect of each strain's batches
    strain_of  limits of a strain, by name
    air_c      mean air of a place [°C]
    """
    batches = [
        _under_way(name, members, runs.get(name), expected, strain_of)
        for name, members in _grouped(bags).items()
    ]
    times_s = at_s + np.arange(0.0, DAYS_AHEAD * DAY_S + 1.0, STEP_S)
    return Forecast(
        at_s,
        tuple(_batch_forecast(one, air_c) for one in batches),
        tuple(_shelves(batches, air_c, times_s)),
        tuple(_days(batches, air_c, limits, times_s)),
        limits,
    )


def _grouped(bags: Sequence[BagRecord]) -> dict[str, list[BagRecord]]:
    found: dict[str, list[BagRecord]] = {}
    for bag in sorted(bags, key=lambda one: (one.inoculated_s, one.bag)):
        found.setdefault(batch_key(bag), []).append(bag)
    return found


def batch_key(bag: BagRecord) -> str:
    """The batch of a bag; one of two strains is two batches."""
    return f"{bag.batch} {bag.strain}" if bag.batch else bag.strain


def _under_way(
    name: str,
    bags: Sequence[BagRecord],
    run: Run | None,
    expected: Mapping[str, Curves],
    strain_of: Callable[[str], Strain],
) -> _Batch:
    strain = bags[0].strain
    curves = expected[strain]
    noted = [one.full_run_s for one in bags if one.full_run_s is not None]
    inoculated_s = float(np.median([one.inoculated_s for one in bags]))
    if run is None:
        run = Run(np.zeros(0), np.zeros(0))
    if run.full_run_h is None and noted:
        age_h = (float(np.median(noted)) - inoculated_s) / HOUR_S
        run = Run(run.ages_h, run.heat_w_per_kg, age_h)
    own = fit(curves, run) if len(run.ages_h) or run.full_run_h is not None else curves
    mass_kg = float(np.median([one.mass_kg for one in bags]))
    thermal = thermal_of(mass_kg, f"{bags[0].bag_kind} {bags[0].recipe}")
    return _Batch(
        name, bags, strain_of(strain), own.draws(DRAWS), curves.runs, len(run.ages_h),
        inoculated_s, thermal,
    )  # fmt: skip


def span(values: Array) -> Span:
    """Median and the central 80 %."""
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return Span(float(middle), float(low), float(high))


def _core_c(batch: _Batch, heat: Array, air_c: float) -> Array:
    """Core of a middling bag from drawn heats [W/kg], the bag's own spread drawn with them.

    The heat was told from the surface's warmth by the described loss, and goes back by it: an
    error of the loss is none of the core. From 30 °C on a core's warmth takes from its heat, until
    none is left where growth ends, at 36 to 40 °C by strain (`self_heating` has the sources).
    """
    thermal = batch.thermal
    rng = np.random.default_rng(1)
    ratio_sd = (thermal.core_per_surface_high - thermal.core_per_surface_low) / (2 * Z80)
    ratio = thermal.core_per_surface + ratio_sd * rng.standard_normal(len(heat))
    air = air_c + AIR_SD_K * rng.standard_normal(len(heat))
    excess_k = ratio * heat * thermal.mass_kg / thermal.loss_w_per_k
    return settled_c(air, excess_k, batch.growth_ends_c)


def _limit(batch: _Batch) -> CoreLimit:
    """The first limit a warming core meets, however long it is borne: a forecast warns early."""
    return min(batch.strain.core_limits, key=lambda limit: limit.core_c)


def _place(bag: BagRecord) -> Place:
    return bag.rack, bag.shelf


def _batch_forecast(batch: _Batch, air_c: Callable[[Place], float]) -> BatchForecast:
    start_s = batch.inoculated_s
    peak_h = np.exp(batch.curves[:, AGE])
    hours = np.arange(0.0, 24 * 120.0, 2.0)
    middle = np.median(batch.curves, axis=0)[None, :]
    warm = heat_w_per_kg(middle, hours)[0]
    hot = np.flatnonzero(warm >= HOT_SHARE * warm.max())
    highest = heat_w_per_kg(batch.curves, hours).max(axis=1)
    warmest_c = max(air_c(_place(bag)) for bag in batch.bags)
    return BatchForecast(
        batch=batch.name,
        strain=batch.bags[0].strain,
        bags=len(batch.bags),
        runs=batch.runs,
        readings=batch.readings,
        hot_from_s=start_s + float(hours[hot[0]]) * HOUR_S,
        hot_until_s=start_s + float(hours[hot[-1]]) * HOUR_S,
        peak_s=_moments(start_s, peak_h),
        peak_w_per_kg=span(batch.made_w_per_kg(highest, warmest_c)),
        core_c=span(_core_c(batch, highest, warmest_c)),
        limit=_limit(batch),
        heat_over_s=_moments(start_s, heat_over_h(batch.curves)),
        full_run_s=_moments(start_s, full_run_h(batch.curves)),
        full_run_noted=all(one.full_run_s is not None for one in batch.bags),
    )


def _moments(start_s: float, ages_h: Array) -> Span:
    ages = span(ages_h)
    return Span(*(start_s + age * HOUR_S for age in (ages.middle, ages.low, ages.high)))


def _shelves(
    batches: Sequence[_Batch], air_c: Callable[[Place], float], times_s: Array
) -> list[ShelfForecast]:
    """Each shelf at its warmest, those nearest their limit first."""
    stands: dict[Place, list[tuple[_Batch, float]]] = {}
    counts: dict[Place, int] = {}
    for batch in batches:
        masses: dict[Place, float] = {}
        for bag in batch.bags:
            masses[_place(bag)] = masses.get(_place(bag), 0.0) + bag.mass_kg
            counts[_place(bag)] = counts.get(_place(bag), 0) + 1
        for place, mass_kg in masses.items():
            stands.setdefault(place, []).append((batch, mass_kg))
    heats = {batch.name: batch.drawn_w_per_kg(times_s) for batch in batches}
    shelves = []
    for place, there in stands.items():
        local_c = air_c(place)
        made = [kg * batch.made_w_per_kg(heats[batch.name], local_c) for batch, kg in there]
        total = np.sum(made, axis=0)
        when = int(np.argmax(np.median(total, axis=0)))
        cores = []
        for batch, _ in there:
            core = _core_c(batch, heats[batch.name].max(axis=1), local_c)
            cores.append((_nearness(core, _limit(batch)), span(core), _limit(batch)))
        near, core_span, limit = max(cores, key=lambda one: one[0])
        shelf = ShelfForecast(
            place[0], place[1], counts[place], float(times_s[when]),
            span(total[:, when]), local_c, core_span, limit,
        )  # fmt: skip
        shelves.append((near, shelf))
    return [shelf for _, shelf in sorted(shelves, key=lambda one: one[0], reverse=True)]


def _nearness(core_c: Array, limit: CoreLimit) -> tuple[float, float]:
    """What orders shelves: the share of draws that reach the limit, then how near the others come.

    The range's end alone does not tell, as all that is too hot ends close below one temperature.
    """
    share = float(np.mean(core_c >= limit.core_c))
    return share, span(core_c).high - limit.core_c


def _days(
    batches: Sequence[_Batch], air_c: Callable[[Place], float], limits: RoomLimits, times_s: Array
) -> list[DayForecast]:
    total = np.zeros((DRAWS, len(times_s)))
    rng = np.random.default_rng(2)
    for batch in batches:
        mass_kg = sum(bag.mass_kg for bag in batch.bags)
        mean_c = float(np.mean([air_c(_place(bag)) for bag in batch.bags]))
        made = batch.made_w_per_kg(batch.drawn_w_per_kg(times_s), mean_c)
        # Batches err each in its own way: without the shuffle all would be high at once.
        total += mass_kg * rng.permutation(made)
    # The loss by which heat is told errs for all bags alike.
    total *= np.exp(LOSS_SPREAD * rng.standard_normal((DRAWS, 1)))
    stands_kg = sum(bag.mass_kg for batch in batches for bag in batch.bags)
    total += stands_kg * OFFSET_SD_W_PER_KG * rng.standard_normal((DRAWS, 1))
    total = np.maximum(total, 0.0)
    co2 = _co2_ppm(total, limits)
    per_day = int(DAY_S / STEP_S)
    return [
        DayForecast(
            float(times_s[day * per_day]),
            span(total[:, day * per_day : (day + 1) * per_day].max(axis=1)),
            None if co2 is None else span(co2[:, day * per_day : (day + 1) * per_day].max(axis=1)),
        )
        for day in range(DAYS_AHEAD)
    ]


def _co2_ppm(heat_w: Array, limits: RoomLimits) -> Array | None:
    """CO2 of the well mixed room [ppm], following its fresh air where the volume is known."""
    if limits.fresh_air_m3_per_s is None:
        return None
    fresh = limits.fresh_air_m3_per_s
    settled = np.vectorize(lambda watts: steady_ppm(watts, fresh))(heat_w)
    if limits.volume_m3 is None:
        return np.asarray(settled)
    constant_s = air_time_constant_s(limits.volume_m3, fresh)
    level = settled.copy()
    share = ppm_after(1.0, 0.0, STEP_S, constant_s)
    for step in range(1, level.shape[1]):
        level[:, step] = settled[:, step] + share * (level[:, step - 1] - settled[:, step])
    return np.asarray(level)
