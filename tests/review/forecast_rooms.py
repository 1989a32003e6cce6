"""Invented rooms with what came of them, and the score of a forecast made on day 5.

    python -m tests.review.forecast_rooms COUNT

Learns from one room and scores COUNT others.
The rooms are the demo's: shells that grow at their own temperature, richer than the monitor's
model. What the monitor saw is surface and air through its own bag, with offsets and noise.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from dataclasses import dataclass, replace

import numpy as np

from demo.command import parser_for, whole_number
from demo.live import LiveRoom, bag_name
from demo.rooms import DAY_S, FIRST, GOLDEN, GREY, PIOPPINO, SHIITAKE, START_S, make_room
from monitor.judge.strain import HeatPrior, Strain
from monitor.review.forecast import Forecast, RoomLimits, Span, batch_key, forecast
from monitor.review.records import HEALTHY, UNKNOWN, BagRecord
from monitor.review.runs import air_of, runs_of, strains_learned
from monitor.thermal.bag import describe_bag
from monitor.values import Estimate

FULL_RUN = 0.99
DAYS = 12.0
MADE_ON_DAY = 5.0
QUIET = replace(
    FIRST.trouble,
    contaminated=0.0,
    run_chance=0.0,
    lot_chance=0.0,
    stalled=0.0,
    fell=0,
    stuck=0,
    silent=0,
    heater_stuck_chance=0.0,
)
SPEC = replace(
    FIRST, lines=(GREY, GOLDEN, PIOPPINO, SHIITAKE), bags_per_cohort=5, days=DAYS, trouble=QUIET
)
#: What settings might say before the first run: days off, and far too slow to full run.
STRAINS = {
    line.name: Strain(
        name=line.name,
        known=True,
        run_days=(8.0, 20.0),
        prior=HeatPrior(peak_k=1.8, peak_h=120.0, peak_h_sd=36.0, rise_h=30.0, keep=0.15),
    )
    for line in SPEC.lines
}


@dataclass(frozen=True)
class Played:
    """One room to its end: the book, what was seen, and per batch what came."""

    bags: list[BagRecord]
    seen: list[Estimate]
    peak_s: dict[str, float]
    full_run_s: dict[str, float]
    core_c: dict[str, float]
    hours_s: np.ndarray
    heat_w: np.ndarray

    @property
    def now_s(self) -> float:
        return START_S + MADE_ON_DAY * DAY_S


def play(seed: int) -> Played:
    """Run one quiet room; full run is a batch's median bag at 99 % colonised."""
    room = make_room(SPEC, seed)
    live = LiveRoom(room)
    full_s = np.full(room.count, np.inf)
    while live.now_s < START_S + DAYS * DAY_S:
        live.advance(live.now_s + 6 * 3600.0)
        share = (2 * np.arange(8) + 1) / 64.0
        run = share @ live.bodies.colonised
        full_s = np.where((run >= FULL_RUN) & np.isinf(full_s), live.now_s, full_s)
    bags = [
        BagRecord(
            bag=f"{seed}-{bag_name(i)}",
            batch=f"{seed}-{room.cohort(i)}",
            strain=room.lines[i].name,
            spawn_lot=f"{seed}-J{room.cohort(i)}",
            inoculated_s=room.session_s[i],
            mass_kg=float(room.bags.mass_kg[i]),
            rack="R1",
            shelf=int(room.shelf[i]),
            outcome=HEALTHY if np.isfinite(full_s[i]) else UNKNOWN,
            full_run_s=float(full_s[i]) if np.isfinite(full_s[i]) else None,
            standing=False,
        )
        for i in range(room.count)
    ]
    return _with_truth(live, bags, full_s, np.random.default_rng(seed))


def _with_truth(
    live: LiveRoom, bags: list[BagRecord], full_s: np.ndarray, rng: np.random.Generator
) -> Played:
    count = len(bags)
    offset_k = rng.normal(0.0, 0.12, count)
    rows = live.truth
    hours_s = np.array([row.time_s for row in rows[::count]])
    heat = np.array([row.heat_w_per_kg for row in rows]).reshape(-1, count)
    core = np.array([row.core_c for row in rows]).reshape(-1, count)
    seen = []
    lagged_c = np.array([row.local_air_c for row in rows[:count]])
    for number, row in enumerate(rows):
        bag, i = bags[number % count], number % count
        thermal = describe_bag(round(bag.mass_kg, 2))
        lagged_c[i] += (row.local_air_c - lagged_c[i]) * -np.expm1(-3600.0 / thermal.lag_s)
        if row.time_s % 21600.0 == 0.0:
            warmth_k = row.surface_c - lagged_c[i] + offset_k[i] + rng.normal(0.0, 0.05)
            said = thermal.loss_w_per_k * warmth_k / bag.mass_kg
            seen.append(Estimate(bag.bag, row.time_s, row.surface_c, row.local_air_c, None, said))
    peak_s, full, warmest = {}, {}, {}
    for name in dict.fromkeys(batch_key(bag) for bag in bags):
        mine = [i for i, bag in enumerate(bags) if batch_key(bag) == name]
        peak_s[name] = float(hours_s[np.median(heat[:, mine], axis=1).argmax()])
        full[name] = float(np.median(full_s[mine]))
        warmest[name] = float(np.median(core[:, mine].max(axis=0)))
    masses = np.array([bag.mass_kg for bag in bags])
    return Played(bags, seen, peak_s, full, warmest, hours_s, heat @ masses)


def on_day_five(room: Played, learned_from: list[Played]) -> Forecast:
    """The forecast a grower would have had on day 5, after the rooms before."""
    now_s = room.now_s
    standing = [
        replace(
            bag,
            standing=True,
            outcome=UNKNOWN,
            full_run_s=bag.full_run_s if (bag.full_run_s or np.inf) <= now_s else None,
        )
        for bag in room.bags
    ]
    records = [bag for before in learned_from for bag in before.bags] + standing
    heard = [one for one in room.seen if one.at_s <= now_s]
    estimates = [one for before in learned_from for one in before.seen] + heard
    runs = runs_of(records, estimates)
    expected = strains_learned(STRAINS, STRAINS.__getitem__, {}, records, runs)
    air_c = air_of(standing, [one for one in heard if one.at_s > now_s - 2 * DAY_S], 22.0)
    return forecast(standing, runs, expected, STRAINS.__getitem__, air_c, RoomLimits(), now_s)


@dataclass
class Score:
    """Errors [h, K, share] and how many of how many intervals held."""

    full_run_h: list[float]
    peak_h: list[float]
    core_k: list[float]
    heat_share: list[float]
    held: dict[str, list[bool]]

    def line(self) -> str:
        def rms(values: list[float]) -> float:
            return float(np.sqrt(np.mean(np.square(values)))) if values else float("nan")

        held = ", ".join(
            f"{name} {sum(one)} of {len(one)}" for name, one in self.held.items() if one
        )
        return (
            f"full run off by {rms(self.full_run_h):.0f} h, peak to come by "
            f"{rms(self.peak_h):.0f} h, core {rms(self.core_k):.1f} K, a day's heat "
            f"{100 * rms(self.heat_share):.0f} % of the week's most; held: {held}"
        )


def score(pairs: list[tuple[Played, Forecast]]) -> Score:
    """What came against what was said."""
    found = Score([], [], [], [], {"full run": [], "peak": [], "core": [], "heat": []})

    def held(name: str, span: Span, came: float) -> float:
        found.held[name].append(span.low <= came <= span.high)
        return span.middle - came

    for room, said in pairs:
        for one in said.batches:
            full_s, peak_s = room.full_run_s[one.batch], room.peak_s[one.batch]
            if np.isfinite(full_s) and full_s > said.at_s:
                found.full_run_h.append(held("full run", one.full_run_s, full_s) / 3600.0)
            if peak_s > said.at_s:
                found.peak_h.append(held("peak", one.peak_s, peak_s) / 3600.0)
                found.core_k.append(held("core", one.core_c, room.core_c[one.batch]))
        week = (room.hours_s >= said.at_s) & (room.hours_s < said.at_s + 7 * DAY_S)
        most_w = float(room.heat_w[week].max())
        for day in said.days:
            inside = (room.hours_s >= day.from_s) & (room.hours_s < day.from_s + DAY_S)
            came_w = float(room.heat_w[inside].max())
            found.heat_share.append(held("heat", day.heat_w, came_w) / most_w)
    return found


if __name__ == "__main__":
    parser = parser_for("tests.review.forecast_rooms", __doc__)
    parser.add_argument("count", metavar="COUNT", type=whole_number)
    wanted = parser.parse_args().count
    before = play(100)
    rooms = [play(seed) for seed in range(1, 1 + wanted)]
    for name, past in (("settings alone", []), ("one finished run", [before])):
        print(f"{name}: {score([(room, on_day_five(room, past)) for room in rooms]).line()}")
